"""Typing is always a reading: no key that could belong to a length does anything else."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QAbstractButton

MM_PER_INCH = 25.4  # exactly, agreement of 1959


def test_a_typed_length_reaches_the_box_letter_by_letter(marked, subtests):
    for text, depth_mm in [
        ("7/8 in", 7 / 8 * MM_PER_INCH),
        ("1 1/4 in", 1.25 * MM_PER_INCH),
        ("23 mm", 23.0),
        ("0.9 in", 0.9 * MM_PER_INCH),
        ("2,3 cm", 23.0),
        (".9 in", 0.9 * MM_PER_INCH),
    ]:
        with subtests.test(text=text, depth_mm=depth_mm):
            bar = marked.bar_at(90.0)
            marked.select(bar.id)
            marked.type(text)
            assert marked.box.field.text() == text
            marked.press(Qt.Key.Key_Return)
            assert marked.bar_at(90.0).tie is not None, marked.said
            assert marked.bar_at(90.0).tie.depth_mm == pytest.approx(depth_mm)
            marked.trigger("undo")


def test_a_typed_uncertainty_goes_with_the_reading(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.type("35 ± 2 mm")
    marked.press(Qt.Key.Key_Enter, Qt.KeyboardModifier.KeypadModifier)
    assert marked.bar_at(260.0).tie.plus_minus_mm == 2.0


def test_digits_of_the_keypad_open_the_box(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.press(Qt.Key.Key_3, Qt.KeyboardModifier.KeypadModifier)
    assert marked.box.isVisible()
    assert marked.box.field.text() == "3"


def test_the_box_stays_open_and_says_what_is_wrong(marked, subtests):
    for text, complaint in [
        ("3x", "“3x” is not a length."),
        ("0", "A known depth is more than zero."),
        ("3/0 in", "“3/0 in” divides by zero."),
        ("35 ± 0", "An uncertainty"),
        ("35 mm in", "“35 mm in” is not a length."),
    ]:
        with subtests.test(text=text, complaint=complaint):
            before = marked.document.job
            marked.select(marked.bar_at(260.0).id)
            marked.type(text)
            marked.press(Qt.Key.Key_Return)
            assert marked.box.isVisible()
            assert marked.box.hint.text().startswith(complaint)
            assert marked.document.job is before
            assert marked.focus is marked.box.field
            marked.press(Qt.Key.Key_Escape)


def test_a_depth_that_no_wave_could_have_gives_a_sentence(marked):
    before = marked.document.job
    marked.select(marked.bar_at(260.0).id)
    marked.type("5000")
    marked.press(Qt.Key.Key_Return)
    assert marked.document.job is before
    assert marked.said.startswith("Warning: ")


def test_digits_typed_in_the_tree_open_the_box_too(marked):
    bar = marked.bar_at(260.0)
    marked.document.select(None)
    tree = marked.window.tree
    tree.setFocus()
    item = next(
        tree.topLevelItem(0).child(row)
        for row in range(tree.topLevelItem(0).childCount())
        if tree.topLevelItem(0).child(row).text(0) == "Bar 2"
    )
    tree.setCurrentItem(item)
    assert marked.document.selected == bar
    assert marked.focus is tree
    marked.type("35 mm")
    assert marked.box.isVisible()
    assert marked.box.field.text() == "35 mm"
    marked.press(Qt.Key.Key_Return)
    assert marked.bar_at(260.0).tie.depth_mm == 35.0


def test_walking_down_the_tree_by_keys_selects_mark_after_mark(marked):
    tree = marked.window.tree
    tree.setFocus()
    chosen = []
    for _ in range(3):
        marked.press(Qt.Key.Key_Down)
        chosen.append(getattr(marked.document.selected, "number", None))
        assert marked.focus is tree
    assert chosen == [1, 2, 3]


def bare_keys(sequence: QKeySequence) -> list[str]:
    """Keys of a shortcut that a person types in a reading."""
    special = {Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space, Qt.Key.Key_Delete}
    special |= {Qt.Key.Key_Backspace, Qt.Key.Key_Escape}
    held = (
        Qt.KeyboardModifier.ControlModifier
        | Qt.KeyboardModifier.AltModifier
        | Qt.KeyboardModifier.MetaModifier
    )
    found = []
    for index in range(sequence.count()):
        stroke = sequence[index]
        printable = int(stroke.key()) < int(Qt.Key.Key_Escape)
        if not stroke.keyboardModifiers() & held and (printable or stroke.key() in special):
            found.append(stroke.key().name)
    return found


def test_no_shortcut_is_a_key_of_a_reading(hand):
    actions = hand.window.findChildren(QAction)
    with_keys = [action for action in actions if action.shortcuts()]
    assert len(with_keys) > 10
    for action in with_keys:
        for sequence in action.shortcuts():
            assert bare_keys(sequence) == [], f"{action.text()}: {sequence.toString()}"
    for button in hand.window.findChildren(QAbstractButton):
        assert bare_keys(button.shortcut()) == [], button.text()


def test_the_check_of_shortcuts_sees_a_bare_key():
    assert bare_keys(QKeySequence("B")) == ["Key_B"]
    assert bare_keys(QKeySequence("Shift+7")) == ["Key_7"]
    assert bare_keys(QKeySequence("Space")) == ["Key_Space"]
    assert bare_keys(QKeySequence("Alt+B")) == []
    assert bare_keys(QKeySequence("F4")) == []


def test_no_two_commands_share_a_shortcut(hand):
    taken = {}
    for command_id, action in hand.window.commands.actions.items():
        for sequence in action.shortcuts():
            assert taken.setdefault(sequence.toString(), command_id) == command_id


def test_letters_and_space_outside_the_box_do_nothing(marked):
    marked.select(marked.bar_at(260.0).id)
    before, mode = marked.document.job, marked.window.marking.mode
    marked.type("abcxyz /+-")
    assert not marked.box.isVisible()
    assert marked.document.job is before
    assert marked.window.marking.mode is mode
