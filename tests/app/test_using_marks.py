"""Marks in use: modes, hovering, dragging, nudging, deleting, renumbering, and their details."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QComboBox, QLineEdit, QPushButton

from depthwright_app.document import Selection
from depthwright_app.marking import MODES


def place(hand, mark):
    return hand.line.on_concrete_mm(mark.position_mm), mark.time_ns


def child(hand, kind, words):
    """A control of the details by its name or its words."""
    for widget in hand.window.details.findChildren(kind):
        shown = widget.text() if isinstance(widget, QPushButton) else widget.accessibleName()
        if shown == words and widget.isVisible():
            return widget
    raise AssertionError(f"no {words} in the details")


def test_a_function_key_changes_the_mode_and_its_button(hand, subtests):
    for key, mode in [
        ("F2", "look"),
        ("F3", "bar"),
        ("F4", "face"),
        ("F6", "target"),
        ("F7", "note"),
    ]:
        with subtests.test(key=key, mode=mode):
            hand.press(getattr(Qt.Key, f"Key_{key}"))
            assert hand.window.marking.mode.id == mode
            checked = [m.id for m in MODES if hand.window.commands[f"mode-{m.id}"].isChecked()]
            assert checked == [mode]


def test_a_click_marks_what_the_mode_says(hand, subtests):
    for mode, kind in [("target", "target"), ("bar", "bar"), ("face", "face")]:
        with subtests.test(mode=mode, kind=kind):
            hand.trigger(f"mode-{mode}")
            hand.click(*((260.0, 3.85) if mode == "face" else (265.0, 1.45)))
            assert [mark.kind for mark in hand.line.marks] == [kind]
            assert hand.document.selected == hand.line.marks[0]
            hand.trigger("undo")


def test_a_note_lies_where_it_was_clicked(hand):
    hand.trigger("mode-note")
    hand.click(505.0, 5.0)
    (note,) = hand.line.marks
    assert note.kind == "note"
    assert place(hand, note) == pytest.approx((505.0, 5.0), abs=2.0)


def test_looking_marks_nothing_and_selects(marked):
    before = marked.document.job
    marked.trigger("mode-look")
    marked.click(180.0, 3.0)
    assert marked.document.job is before
    bar = marked.bar_at(260.0)
    marked.click(*place(marked, bar))
    assert marked.document.selected == bar


def test_hovering_shows_where_a_click_would_snap_and_what_lies_there(hand):
    where = hand.pane.pixels(268.0, 1.45)
    QTest.mouseMove(hand.pane.viewport(), where)
    hand.qtbot.waitUntil(lambda: hand.pane.marks.preview is not None, timeout=20_000)
    shown = hand.pane.marks.preview
    assert "ns" in hand.window.strip.place.text()
    assert "provisional" in hand.window.strip.place.text()
    hand.click(268.0, 1.45)
    (bar,) = hand.line.marks
    assert place(hand, bar) == pytest.approx(shown, abs=1e-6)


def test_a_selected_mark_is_dragged_and_snaps_where_it_is_let_go(marked):
    bar = marked.bar_at(260.0)
    marked.select(bar.id)
    there = place(marked, marked.bar_at(425.0))
    marked.drag(place(marked, bar), (340.0, 2.6))
    moved = marked.line.mark(bar.id)
    assert moved.position_mm == pytest.approx(340.0, abs=45.0)
    assert moved.position_mm != bar.position_mm
    assert moved.number == bar.number
    assert marked.document.history.undo_words == "Move bar 2"
    assert place(marked, marked.bar_at(425.0)) == there
    marked.trigger("undo")
    assert marked.line.mark(bar.id) == bar


def test_dragging_beside_a_mark_pans_and_changes_nothing(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.pane.zoom(2.0)
    before, job = marked.pane.box.viewRect(), marked.document.job
    marked.drag((600.0, 3.0), (520.0, 3.2))
    assert marked.document.job is job
    assert marked.pane.box.viewRect() != before


def test_arrows_nudge_the_selected_mark(marked, subtests):
    for key, held, along_mm, down_ns in [
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier, 5.0, 0.0),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier, -5.0, 0.0),
        (Qt.Key.Key_Down, Qt.KeyboardModifier.NoModifier, 0.0, 0.016),
        (Qt.Key.Key_Up, Qt.KeyboardModifier.ShiftModifier, 0.0, -5 * 0.016),
    ]:
        with subtests.test(key=key, held=held, along_mm=along_mm, down_ns=down_ns):
            bar = marked.bar_at(260.0)
            marked.select(bar.id)
            marked.press(key, held)
            moved = marked.line.mark(bar.id)
            assert moved.position_mm - bar.position_mm == pytest.approx(along_mm)
            assert moved.time_ns - bar.time_ns == pytest.approx(down_ns)
            assert marked.document.selected == moved
            marked.trigger("undo")


def test_an_anchor_nudged_past_its_neighbour_stays_selected(marked):
    (face,) = marked.marks("face")
    marked.select(face.id, 0)
    gap = face.anchors[1].position_mm - face.anchors[0].position_mm
    for _ in range(round(gap / 25) + 1):
        marked.press(Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    (moved,) = marked.marks("face")
    start = face.anchors[0].position_mm
    end = marked.document.selected.anchors[marked.document.selection.anchor].position_mm
    assert end == pytest.approx(start + 25 * (round(gap / 25) + 1))
    assert [a.position_mm for a in moved.anchors] == sorted(a.position_mm for a in moved.anchors)


def test_arrows_without_a_selection_move_a_cursor_that_marks_by_enter(hand):
    hand.pane.setFocus()
    hand.press(Qt.Key.Key_Left)
    assert hand.pane.marks.cursor_at is not None
    for _ in range(400):
        across, down = hand.pane.marks.cursor_at
        if abs(across - 600.0) <= 10 and abs(down - 1.5) <= 0.04:
            break
        if abs(across - 600.0) > 10:
            hand.press(Qt.Key.Key_Left if across > 600 else Qt.Key.Key_Right)
        else:
            hand.press(Qt.Key.Key_Up if down > 1.5 else Qt.Key.Key_Down)
    hand.press(Qt.Key.Key_Return)
    (bar,) = hand.line.marks
    assert bar.position_mm == pytest.approx(600.0, abs=10.0)


def test_delete_takes_the_selected_mark_away(marked, subtests):
    for key in [Qt.Key.Key_Delete, Qt.Key.Key_Backspace]:
        with subtests.test(key=key):
            bar = marked.bar_at(260.0)
            marked.select(bar.id)
            marked.press(key)
            assert bar not in marked.line.marks
            assert len(marked.marks("bar")) == 6
            assert marked.document.selection is None
            marked.trigger("undo")
            assert bar in marked.line.marks


def test_delete_with_nothing_selected_does_nothing(marked):
    before = marked.document.job
    marked.press(Qt.Key.Key_Delete)
    assert marked.document.job is before


def test_deleting_anchors_ends_with_the_face(marked):
    (face,) = marked.marks("face")
    count = len(face.anchors)
    for left in range(count - 1, -1, -1):
        marked.select(face.id, left)
        marked.press(Qt.Key.Key_Delete)
        faces = marked.marks("face")
        assert [len(mark.anchors) for mark in faces] == ([left] if left else [])
        assert marked.document.selection is None
    assert marked.document.selection is None


def test_deleting_a_tied_bar_takes_its_evidence_away(plain):
    marked = plain
    marked.select(marked.bar_at(260.0).id)
    marked.type("35\r")
    assert not marked.document.results.provisional
    marked.press(Qt.Key.Key_Delete)
    assert marked.document.results.provisional


def test_bars_are_numbered_along_the_line(hand):
    for position, time in ((600.0, 1.5), (90.0, 1.4), (260.0, 1.45)):
        hand.click(position, time)
    hand.trigger("renumber")
    in_order = sorted(hand.marks("bar"), key=lambda bar: bar.position_mm)
    assert [bar.number for bar in in_order] == [1, 2, 3]


def test_details_change_number_and_diameter(marked):
    bar = marked.bar_at(260.0)
    marked.select(bar.id)
    for words, typed in (("Number", "12"), ("Diameter", "5/8 in")):
        field = child(marked, QLineEdit, words)
        field.setFocus()
        field.selectAll()
        marked.type(typed + "\r")
    changed = marked.line.mark(bar.id)
    assert (changed.number, changed.diameter_mm) == (12, pytest.approx(5 / 8 * 25.4))


def test_the_keyboard_stays_in_a_field_whose_value_was_taken(marked):
    marked.select(marked.bar_at(260.0).id)
    field = child(marked, QLineEdit, "Diameter")
    field.setFocus()
    field.selectAll()
    marked.type("16\r")
    assert child(marked, QLineEdit, "Diameter").hasFocus()
    assert child(marked, QLineEdit, "Diameter").text() == "16 mm"


def test_details_refuse_what_cannot_be(marked, subtests):
    for words, typed in [
        ("Number", "four"),
        ("Number", ""),
        ("Number", "0"),
        ("Number", "²"),
        ("Diameter", "thick"),
        ("Diameter", "0"),
        ("Known depth of the mark", "0"),
        ("Known depth of the mark", ""),
        ("Uncertainty of the known depth", "none"),
    ]:
        with subtests.test(words=words, typed=typed):
            marked.forget()
            marked.select(marked.bar_at(260.0).id)
            before = marked.document.job
            field = child(marked, QLineEdit, words)
            if words == "Uncertainty of the known depth":
                child(marked, QLineEdit, "Known depth of the mark").setText("35")
            field.setFocus()
            field.selectAll()
            marked.press(Qt.Key.Key_Delete)
            marked.type(typed + "\r")
            assert marked.document.job is before
            assert marked.said.startswith("Warning: ")


def test_details_tie_with_origin_and_limits_and_untie(marked):
    bar = marked.bar_at(260.0)
    marked.select(bar.id)
    child(marked, QLineEdit, "Known depth of the mark").setText("36")
    child(marked, QLineEdit, "Uncertainty of the known depth").setText("5")
    child(marked, QPushButton, "Tie").click()
    marked.settle()
    tie = marked.line.mark(bar.id).tie
    assert (tie.depth_mm, tie.plus_minus_mm, tie.origin) == (36.0, 5.0, "cover meter")
    child(marked, QPushButton, "Untie").click()
    marked.settle()
    assert marked.line.mark(bar.id).tie is None


def test_the_kind_of_a_target_and_the_text_of_a_note_are_edited(hand):
    hand.trigger("mode-target")
    hand.click(260.0, 1.45)
    kinds = hand.window.details.findChild(QComboBox)
    kinds.setCurrentIndex(kinds.findText("Duct"))
    kinds.activated.emit(kinds.currentIndex())
    hand.settle()
    hand.trigger("mode-note")
    hand.click(505.0, 5.0)
    field = child(hand, QLineEdit, "Text")
    field.setFocus()
    field.selectAll()
    hand.type("joint here\r")
    target, note = hand.line.marks
    assert target.what == "duct"
    assert note.text == "joint here"
    assert [point.label.split()[0] for point in hand.pane.marks.picture.points] == ["D1", "joint"]


def test_a_target_takes_a_known_depth_of_what_was_exposed(hand):
    hand.trigger("mode-target")
    hand.click(260.0, 1.45)
    hand.type("36\r")
    (target,) = hand.line.marks
    assert (target.tie.depth_mm, target.tie.origin) == (36.0, "exposed target")
    (row,) = hand.rows().targets
    assert row.depth.u_mm == pytest.approx(1.0, abs=0.05)


def test_a_note_takes_no_known_depth(hand):
    hand.trigger("mode-note")
    hand.click(505.0, 5.0)
    hand.type("3")
    assert not hand.box.isVisible()
    assert hand.said.startswith("A note has no depth. Select a bar")


def test_a_click_in_the_tree_selects_the_mark_and_shows_its_line(marked):
    tree = marked.window.tree
    bar = marked.bar_at(260.0)

    def click_item(item):
        at = tree.visualItemRect(item).center()
        QTest.mouseClick(tree.viewport(), Qt.MouseButton.LeftButton, pos=at)
        marked.settle()

    click_item(tree.topLevelItem(1))
    assert marked.document.line_id == "line-2"
    assert marked.document.selection is None
    item = next(
        tree.topLevelItem(0).child(row)
        for row in range(tree.topLevelItem(0).childCount())
        if tree.topLevelItem(0).child(row).text(0).startswith("Bar 2")
    )
    click_item(item)
    assert marked.document.line_id == "line-1"
    assert marked.document.selection == Selection("line-1", bar.id)
    assert tree.currentItem().text(0).startswith("Bar 2")


def test_removing_the_line_of_a_selected_mark_leaves_the_other(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.trigger("remove-line")
    assert [line.id for line in marked.document.job.lines] == ["line-2"]
    assert marked.document.line_id == "line-2"
    assert marked.document.selection is None
    marked.trigger("undo")
    assert [line.id for line in marked.document.job.lines] == ["line-1", "line-2"]
    marked.document.show_line("line-1")
    marked.settle()
    assert len(marked.pane.marks.picture.bars) == 7


def test_removing_every_line_leaves_an_empty_window_that_still_works(marked):
    marked.trigger("remove-line")
    marked.trigger("remove-line")
    assert marked.document.line is None
    assert not marked.window.commands["save"].isEnabled()
    assert marked.pane.marks.picture.bars == ()
    marked.type("3")
    assert not marked.box.isVisible()
    marked.trigger("undo")
    marked.trigger("undo")
    assert len(marked.document.job.lines) == 2
