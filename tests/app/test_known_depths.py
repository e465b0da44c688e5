"""Known depths typed in the details and at the mark: how good, from where, replaced, refused."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QComboBox, QLineEdit, QPushButton

from depthwright_app.panels.tie_editor import LIMITS, SITE, STANDARD

BAR_MM = 260.0
DEPTH = "Known depth of the mark"
SPREAD = "Uncertainty of the known depth"
KIND = "What the uncertainty is"
ORIGIN = "Origin of the known depth"
METER = "Diameter set on the meter"
REASON = "Reason for setting it aside"


def field(hand, kind, name):
    for widget in hand.window.details.findChildren(kind):
        shown = widget.text() if isinstance(widget, QPushButton) else widget.accessibleName()
        if shown == name and widget.isVisibleTo(hand.window.details):
            return widget
    raise AssertionError(f"no {name} in the details")


def has(hand, kind, name):
    try:
        return field(hand, kind, name) is not None
    except AssertionError:
        return False


def write(hand, name, text):
    line = field(hand, QLineEdit, name)
    line.setFocus()
    line.selectAll()
    hand.press(Qt.Key.Key_Delete)
    if text.isascii():
        hand.type(text)
    else:  # which test keyboards cannot type
        line.setText(text.rstrip("\r"))
        hand.press(Qt.Key.Key_Return)


def push(hand, words):
    QTest.mouseClick(field(hand, QPushButton, words), Qt.MouseButton.LeftButton)
    hand.settle()


@pytest.fixture
def bar(marked):
    """A hand with bar 2 selected."""
    marked.select(marked.bar_at(BAR_MM).id)
    return marked


def tie_of_bar(hand):
    return hand.bar_at(BAR_MM).tie


# How good a reading is.


def test_a_standard_uncertainty_counts_as_typed(bar):
    write(bar, DEPTH, "36")
    write(bar, SPREAD, "2")
    push(bar, "Tie")
    tie = tie_of_bar(bar)
    assert (tie.depth_mm, tie.plus_minus_mm, tie.limits, tie.u_mm) == (36.0, 2.0, False, 2.0)


def test_limits_are_rectangular(bar):
    write(bar, DEPTH, "36")
    write(bar, SPREAD, "3")
    field(bar, QComboBox, KIND).setCurrentIndex(LIMITS)
    push(bar, "Tie")
    assert tie_of_bar(bar).u_mm == pytest.approx(3 / 3**0.5)


def test_site_conditions_fill_in_the_greater_limit(plain, subtests):
    """BS 1881-204:1988 as quoted in lecture notes: 5 mm or 15 % on site."""
    for reading, limit in [("20", 5.0), ("33", 5.0), ("40", 6.0), ("60", 9.0)]:
        with subtests.test(reading=reading, limit=limit):
            plain.select(plain.bar_at(BAR_MM).id)
            write(plain, DEPTH, reading)
            field(plain, QComboBox, KIND).setCurrentIndex(SITE)
            spread = field(plain, QLineEdit, SPREAD)
            assert spread.isReadOnly()
            assert float(spread.text()) == pytest.approx(limit)
            push(plain, "Tie")
            tie = tie_of_bar(plain)
            assert (tie.plus_minus_mm, tie.limits) == (pytest.approx(limit), True)
            assert field(plain, QComboBox, KIND).currentIndex() == SITE
            plain.trigger("undo")
            plain.forget()


def test_site_limits_follow_the_reading_while_it_is_typed(bar):
    field(bar, QComboBox, KIND).setCurrentIndex(SITE)
    write(bar, DEPTH, "4")
    assert field(bar, QLineEdit, SPREAD).text() == "5"
    write(bar, DEPTH, "40")
    assert field(bar, QLineEdit, SPREAD).text() == "6"
    write(bar, DEPTH, "forty")
    assert field(bar, QLineEdit, SPREAD).text() == ""
    field(bar, QComboBox, KIND).setCurrentIndex(STANDARD)
    assert not field(bar, QLineEdit, SPREAD).isReadOnly()


def test_a_tie_applied_again_as_it_stands_is_no_edit(bar, subtests):
    bar.type("35\r")
    for unit in ["mm", "cm", "in"]:
        with subtests.test(unit=unit):
            bar.trigger(f"unit-{unit}")
            before = bar.document.job
            push(bar, "Change tie")
            assert bar.document.job is before


# From where.


def test_the_diameter_set_on_the_meter_is_asked_for_a_cover_meter_only(bar):
    assert has(bar, QLineEdit, METER)
    field(bar, QComboBox, ORIGIN).setCurrentText("Drawing")
    assert not has(bar, QLineEdit, METER)
    field(bar, QComboBox, ORIGIN).setCurrentText("Cover meter")
    write(bar, DEPTH, "35")
    write(bar, METER, "16\r")
    assert tie_of_bar(bar).meter_diameter_mm == 16.0
    assert field(bar, QLineEdit, METER).text() == "16"


def test_a_face_and_a_target_are_not_read_with_a_diameter(marked):
    (face,) = marked.marks("face")
    marked.select(face.id, 0)
    assert field(marked, QComboBox, ORIGIN).currentText() == "Drilled hole or core"
    assert not has(marked, QLineEdit, METER)


def test_a_target_is_tied_in_its_details(hand):
    hand.trigger("mode-target")
    hand.click(BAR_MM, 1.45)
    assert field(hand, QComboBox, ORIGIN).currentText() == "Exposed target"
    write(hand, DEPTH, "36")
    write(hand, SPREAD, "2\r")
    (target,) = hand.line.marks
    assert (target.tie.depth_mm, target.tie.origin) == (36.0, "exposed target")
    assert hand.pane.marks.picture.points[0].tie_label == "36\u202fmm"
    push(hand, "Untie")
    assert hand.line.marks[0].tie is None


# Set aside in the details.


def test_the_details_set_aside_and_use_again(bar):
    bar.type("35\r")
    write(bar, REASON, "meter set to 16")
    push(bar, "Set aside")
    assert tie_of_bar(bar).set_aside == "meter set to 16"
    push(bar, "Use again")
    assert tie_of_bar(bar).used


def test_the_details_want_a_reason(bar):
    bar.type("35\r")
    before = bar.document.job
    push(bar, "Set aside")
    assert bar.document.job is before
    assert "for a reason" in bar.said


# Replaced.


def test_a_second_reading_says_what_it_replaces(bar):
    bar.type("35\r")
    bar.type("36\r")
    assert bar.said.startswith("Bar 2 had 35\u202fmm; now 36\u202fmm. Undo brings it back. ")
    bar.trigger("undo")
    assert tie_of_bar(bar).depth_mm == 35.0


def test_another_uncertainty_is_said_with_it(bar):
    bar.type("35\r")
    bar.type("35 ± 2\r")
    assert "had 35.0 ± 1.0\u202fmm; now 35.0 ± 2.0\u202fmm" in bar.said


def test_a_first_reading_replaces_nothing(bar):
    bar.type("35\r")
    assert "had" not in bar.said


def test_a_replaced_reading_that_contradicts_still_warns(bar):
    bar.type("35\r")
    bar.type("60\r")
    assert bar.said.startswith("Warning: Bar 2 had 35\u202fmm; now 60\u202fmm.")
    assert "disagree" in bar.said


# Refused.


def test_a_depth_that_is_not_positive_is_told_in_the_box(bar, subtests):
    for typed in ["0", "-5", "−5", "0 ± 1"]:
        with subtests.test(typed=typed):
            before = bar.document.job
            bar.type("3")
            bar.box.field.setText(typed)
            bar.press(Qt.Key.Key_Return)
            assert bar.document.job is before
            assert bar.box.isVisible()
            assert "more than zero" in bar.box.hint.text()
            assert bar.box.field.text() == typed
            bar.press(Qt.Key.Key_Escape)


def test_an_impossible_depth_keeps_the_box_and_the_job(bar, subtests):
    for typed, why in [("5000", "faster than in air"), ("0.5", "slower than")]:
        with subtests.test(typed=typed, why=why):
            before = bar.document.job
            bar.type(typed + "\r")
            assert bar.document.job is before
            assert bar.box.isVisible()
            assert why in bar.box.hint.text()
            assert "Check each known depth" in bar.box.hint.text()
            assert bar.pane.rect().contains(bar.box.geometry())
            bar.press(Qt.Key.Key_Escape)


def test_the_details_keep_what_cannot_be(bar, subtests):
    for typed in ["0", "-3", "−3", "deep", "5000"]:
        with subtests.test(typed=typed):
            bar.forget()
            bar.select(bar.bar_at(BAR_MM).id)
            before = bar.document.job
            write(bar, DEPTH, typed + "\r")
            assert bar.document.job is before
            assert bar.said.startswith("Warning: ")
            assert field(bar, QLineEdit, DEPTH).text() == typed


def test_a_diameter_on_the_meter_that_cannot_be_is_told(bar, subtests):
    for typed in ["0", "-12", "thick"]:
        with subtests.test(typed=typed):
            bar.forget()
            bar.select(bar.bar_at(BAR_MM).id)
            before = bar.document.job
            write(bar, DEPTH, "35")
            write(bar, METER, typed + "\r")
            assert bar.document.job is before
            assert bar.said.startswith("Warning: ")


def test_all_known_depths_at_one_depth_still_give_numbers(plain):
    for position in (90.0, 260.0, 600.0):
        plain.select(plain.bar_at(position).id)
        plain.type("36 ± 4\r")
    assert all(row.cover.u_mm > 0 for row in plain.rows().bars)
    assert [row.kind for row in plain.document.results.evidence].count("tie") == 3
    assert "Traceback" not in plain.said


# The crossing angle.


def test_a_crossing_angle_is_typed_in_degrees(bar, subtests):
    for typed in ["45", "45°", "45 deg", "45,0"]:
        with subtests.test(typed=typed):
            write(bar, "Crossing angle", typed + "\r")
            assert bar.bar_at(BAR_MM).crossing_deg == 45.0
            assert field(bar, QLineEdit, "Crossing angle").text() == "45°"
            bar.trigger("undo")


def test_a_crossing_angle_that_cannot_be_is_told(bar, subtests):
    for typed in ["", "10", "95", "-45", "oblique", "nan"]:
        with subtests.test(typed=typed):
            bar.forget()
            bar.select(bar.bar_at(BAR_MM).id)
            before = bar.document.job
            write(bar, "Crossing angle", typed + "\r")
            assert bar.document.job is before
            assert "from 20 to 90" in bar.said
