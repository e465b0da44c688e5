"""The ledger used as a person does: rows clicked, evidence set aside and switched, all of it undone."""

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFont
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel

from depthwright.results.values import EvidenceRow
from depthwright_app.document import Selection
from depthwright_app.ledger.evidence_table import ticks
from depthwright_app.ledger.items import axis_range, evidence_items
from depthwright_app.wording import NO_REASON

BAR_MM = 260.0


def rows(hand, kind):
    return [line for line in hand.window.ledger.evidence.lines if line.item.kind == kind]


def tie_row(hand):
    (line,) = rows(hand, "tie")
    return line


def curvature_row(hand):
    (line,) = rows(hand, "curvature")
    return line


def tie(hand, reading="35"):
    hand.select(hand.bar_at(BAR_MM).id)
    hand.type(f"{reading}\r")


@pytest.fixture
def tied(marked):
    tie(marked)
    return marked


def press_button(hand, button):
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    hand.settle()


# What the rows say.


def test_each_piece_of_evidence_has_a_row_and_the_adopted_one_is_last(tied):
    results = tied.document.results
    lines = tied.window.ledger.evidence.lines
    kinds = [line.item.kind for line in lines]
    assert [kind for kind in kinds if kind != "focusing"] == [
        "tie",
        "curvature",
        "typed",
        "adopted",
    ]
    for line, row in zip(lines, results.evidence, strict=False):
        assert line.item.interval == row.interval
        assert line.item.used == row.used
    adopted = lines[-1].item.interval
    assert adopted[0] < results.permittivity < adopted[1]


def test_a_tie_is_named_by_its_mark_and_said_as_it_was_given(tied):
    line = tie_row(tied)
    assert line.title.text() == "Bar 2 of deck-L1"
    assert line.detail.text() == "cover meter 35.0\u00a0±\u00a01.0\u202fmm"
    assert " ± " in line.value.text()


def test_no_word_of_a_row_is_cut_off(tied):
    for line in tied.window.ledger.evidence.lines:
        for label in (line.title, line.detail, line.value, line.note):
            if label.isVisible():
                assert label.height() >= label.heightForWidth(label.width())
                assert "…" not in label.text()


def test_evidence_that_steps_aside_says_so_under_its_bar(tied):
    (line,) = rows(tied, "typed")
    assert line.note.isVisible()
    assert line.note.text().startswith("Steps aside")
    assert not line.title.isEnabled()


def test_what_a_used_row_has_to_say_is_in_its_tooltip(tied):
    line = tie_row(tied)
    assert "standard uncertainties" in line.toolTip()
    assert not line.note.isVisible()


def colours(hand, line):
    """Colours of the row's marker: its middle and its rim."""
    hand.settle()
    image = line.bar.grab().toImage()
    ratio = image.devicePixelRatio()
    from depthwright_app.ledger.evidence_row import along

    across = along(line.item.middle, hand.window.ledger.evidence._shown, line.bar.width())
    return image.pixelColor(round(across * ratio), round(line.bar.height() / 2 * ratio))


def test_used_evidence_is_filled_and_the_rest_hollow(tied):
    used = colours(tied, tie_row(tied))
    tied.document.set_tie_aside(Selection("line-1", tied.bar_at(BAR_MM).id), "wrong bar")
    hollow = colours(tied, tie_row(tied))
    assert used.lightness() < 100 < 200 < hollow.lightness()


def test_focusing_is_a_marker_of_its_own_that_is_never_filled(tied, monkeypatch):
    results, job = tied.document.results, tied.document.job
    check = EvidenceRow("focusing", "Focusing of 7 bars", results.permittivity, 0.05, used=True)
    evidence = tuple(row for row in results.evidence if row.kind != "focusing")
    more = type(results)(**{**vars(results), "evidence": (*evidence, check)})
    tied.window.ledger.evidence.show_results(job, more)
    (line,) = rows(tied, "focusing")
    assert colours(tied, line).lightness() > 200
    assert "never counted" in line.detail.text()
    assert not line.action.isVisible()
    assert not line.count.isVisible()


def test_the_axis_holds_the_intervals_and_is_not_dwarfed_by_a_vague_one(tied):
    items = evidence_items(tied.document.job, tied.document.results)
    low, high = axis_range(items)
    for item in items:
        assert low <= item.interval[0] <= item.interval[1] <= high
    tied.select(tied.bar_at(90.0).id)
    tied.type("33 ± 30\r")
    items = evidence_items(tied.document.job, tied.document.results)
    low, high = axis_range(items)
    assert any(item.interval[1] > high for item in items)
    assert high < 3 * items[-1].interval[1]


def test_an_interval_that_wide_is_given_by_its_ends(tied):
    tied.select(tied.bar_at(90.0).id)
    tied.type("33 ± 10\r")
    values = [line.value.text() for line in rows(tied, "tie")]
    assert sum(" to " in value for value in values) == 1


@pytest.mark.parametrize("typed", ["33 ± 1000", "33 ± 10000000"])
def test_a_known_depth_as_vague_as_one_likes_says_nothing(tied, typed):
    before = tied.document.results.permittivity
    tied.select(tied.bar_at(90.0).id)
    tied.type(f"{typed}\r")
    assert [line.value.text() for line in rows(tied, "tie")].count("says nothing") == 1
    assert tied.document.results.permittivity == pytest.approx(before, rel=0.01)
    tied.window.ledger.evidence.grab()


@pytest.mark.parametrize(("low", "high"), [(6.9, 9.4), (1.0, 21.0), (7.0, 7.4), (1.0, 100.0)])
def test_ticks_are_round_and_between_the_ends(low, high):
    shown = ticks(low, high)
    assert 2 <= len(shown) <= 10
    assert all(low <= tick <= high for tick in shown)


# Clicks.


def test_a_click_on_a_row_selects_its_mark_and_typing_goes_there(tied):
    tied.document.select(None)
    tied.document.show_line("line-2")
    tied.settle()
    QTest.mouseClick(tie_row(tied).title, Qt.MouseButton.LeftButton, pos=QPoint(5, 5))
    tied.settle()
    assert tied.document.selection == Selection("line-1", tied.bar_at(BAR_MM).id)
    tied.type("36")
    assert tied.box.title.text() == "Known depth of bar 2"


def test_enter_on_a_row_selects_its_mark(tied):
    tied.document.select(None)
    tie_row(tied).setFocus()
    tied.press(Qt.Key.Key_Return)
    assert tied.document.selection == Selection("line-1", tied.bar_at(BAR_MM).id)


def test_a_row_of_an_anchor_selects_that_anchor(marked):
    (face,) = marked.marks("face")
    for place in (1, 4):
        marked.select(face.id, place)
        marked.type("162\r")
    assert [line.item.place.anchor for line in rows(marked, "tie")] == [1, 4]
    marked.document.select(None)
    QTest.mouseClick(rows(marked, "tie")[1].bar, Qt.MouseButton.LeftButton)
    assert marked.document.selection == Selection("line-1", face.id, 4)


# Setting aside.


def test_a_known_depth_is_set_aside_with_a_reason_and_used_again(tied):
    before, covers = tied.document.job, tied.covers()
    line = tie_row(tied)
    assert line.action.text() == "Set aside…"
    press_button(tied, line.action)
    assert line.reason.hasFocus()
    tied.type("read on the wrong bar\r")
    tie = tied.bar_at(BAR_MM).tie
    assert (tie.set_aside, tie.depth_mm) == ("read on the wrong bar", 35.0)
    assert tied.document.history.undo_words == "Set aside the known depth of bar 2"
    line = tie_row(tied)
    assert line.note.text() == "Set aside: read on the wrong bar."
    assert not line.item.used
    assert not line.reason.isVisible()
    assert tied.covers() != covers
    assert not any(bar.tie_label for bar in tied.pane.marks.picture.bars)
    press_button(tied, line.action)
    assert tied.bar_at(BAR_MM).tie.used
    assert tied.document.job == before
    assert tied.covers() == pytest.approx(covers)
    tied.trigger("undo")
    tied.trigger("undo")
    assert tied.document.job is before


def test_without_a_reason_nothing_is_set_aside(tied):
    before, line = tied.document.job, tie_row(tied)
    press_button(tied, line.action)
    tied.type("   \r")
    assert tied.document.job is before
    assert tied.said == f"Warning: {NO_REASON}"
    assert line.reason.isVisible()


def test_esc_puts_the_reason_away(tied):
    before, line = tied.document.job, tie_row(tied)
    press_button(tied, line.action)
    tied.type("not sure")
    tied.press(Qt.Key.Key_Escape)
    assert not line.reason.isVisible()
    assert tied.document.job is before


def test_a_reason_being_typed_outlives_what_else_happens(tied):
    line = tie_row(tied)
    press_button(tied, line.action)
    tied.type("half a rea")
    tied.document.scan_arrived("line-1", tied.document.stages["line-1"])
    tied.settle()
    assert tie_row(tied) is line
    assert line.reason.isVisible()
    assert line.reason.text() == "half a rea"


def test_an_anchors_known_depth_is_set_aside_too(marked):
    (face,) = marked.marks("face")
    marked.select(face.id, 2)
    marked.type("162\r")
    press_button(marked, tie_row(marked).action)
    marked.type("hole went into a duct\r")
    (face,) = marked.marks("face")
    assert [a.tie.set_aside if a.tie else None for a in face.anchors].count(
        "hole went into a duct"
    ) == 1
    assert face.anchors[2].tie.set_aside
    assert not any(point.tie_label for point in marked.pane.marks.picture.points)
    tree = marked.window.tree
    names = [
        tree.topLevelItem(0).child(i).text(0) for i in range(tree.topLevelItem(0).childCount())
    ]
    assert "Back face, anchor 3  tie set aside" in names


# The curvature.


def test_the_curvature_is_switched_off_in_sight_and_back_on(marked):
    before, covers = marked.document.job, marked.covers()
    line = curvature_row(marked)
    assert line.title.text() == "Curvature of 7 bars"
    assert line.count.isChecked()
    press_button(marked, line.count)
    assert not marked.document.job.zones[0].curvature
    assert marked.document.results.provisional
    assert marked.document.history.undo_words == "Switch the curvature off"
    assert curvature_row(marked) is line
    assert line.title.text() == "Curvature: switched off"
    assert line.detail.text() == "crests of 7 bars, not counted"
    assert not line.bar.isVisible()
    press_button(marked, line.count)
    assert marked.document.job == before
    assert marked.covers() == pytest.approx(covers)
    marked.trigger("undo")
    assert not line.count.isChecked()
    marked.trigger("undo")
    assert line.count.isChecked()


def test_the_switch_is_used_by_keyboard(marked):
    line = curvature_row(marked)
    line.count.setFocus()
    marked.press(Qt.Key.Key_Space)
    assert not marked.document.job.zones[0].curvature
    assert line.count.hasFocus()


def test_a_switch_whose_edit_is_refused_goes_back(marked, monkeypatch):
    from depthwright.errors import DepthwrightError
    from depthwright_app import job_state

    def refuse(*_):
        raise DepthwrightError("That cannot be.")

    line = curvature_row(marked)
    marked.window.ledger.evidence.items = ()
    with monkeypatch.context() as patched:
        patched.setattr(job_state, "evaluate", refuse)
        press_button(marked, line.count)
    assert marked.said == "Warning: That cannot be."
    assert marked.document.job.zones[0].curvature
    assert curvature_row(marked).count.isChecked()


def test_a_provisional_permittivity_stays_in_italics_in_another_look(plain):
    seen = []
    # System, light and dark, and once more: a look that is not new changes nothing.
    for _ in range(4):
        plain.trigger("appearance")
        font = plain.window.ledger.value.font()
        seen.append((plain.window.palette().window().color().name(), font.italic(), font.weight()))
    assert {colour for colour, *_ in seen} == {"#f6f7f9", "#1e2126"}
    assert {(italic, weight) for _, italic, weight in seen} == {(True, QFont.Weight.Medium)}


# What a reading would bring.


def test_the_outlook_stands_under_the_evidence_with_now_in_bold(tied):
    outlook = tied.document.results.outlook
    table = tied.window.ledger.outlook
    head, *shown = table.words()
    assert head[0].startswith("For the back face, now ")
    assert "\u00a0±\u00a0" in head[0]
    assert [what.lower() for what, _ in shown] == [row.what.lower() for row in outlook.rows]
    for (_, spread), row in zip(shown, outlook.rows, strict=True):
        assert float(spread.split("\u202f")[0]) == pytest.approx(row.expanded_mm, rel=0.06)
        assert spread.endswith("mm")


def test_the_outlook_is_in_the_jobs_unit(tied):
    tied.trigger("unit-in")
    assert all(spread.endswith("in") for _, spread in tied.window.ledger.outlook.words()[1:])


def test_without_a_mark_the_outlook_says_the_next_step(hand):
    assert hand.document.results.outlook is None
    texts = [label.text() for label in hand.window.ledger.outlook.findChildren(QLabel)]
    assert texts == ["Mark a bar or the back face to see it."]
