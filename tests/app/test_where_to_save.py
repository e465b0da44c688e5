"""Names that the user types without a suffix."""

import pytest
from PySide6.QtWidgets import QFileDialog, QMessageBox

from depthwright_app.dialogs.where_to_save import ask_where


@pytest.fixture
def where(monkeypatch, tmp_path):
    """What comes of a typed name, in a folder that holds ``deck.dwjob``; a question gets the answer."""
    (tmp_path / "deck.dwjob").write_text("of somebody")

    def ask(typed, answer=None):
        name = str(tmp_path / typed) if typed else ""
        monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (name, ""))
        if answer is not None:
            monkeypatch.setattr(QMessageBox, "question", lambda *_: answer)
        path = ask_where(None, "Save the job", "", "", ".dwjob")
        return path and path.name

    return ask


def test_a_suffix_is_put_on_where_there_is_none_of_those_that_serve(where):
    assert where("slab") == "slab.dwjob"
    assert where("slab 1.5") == "slab 1.5.dwjob"
    assert where("slab.dwjob") == "slab.dwjob"
    assert where("") is None


def test_a_file_that_only_the_suffix_leads_to_is_not_replaced_unasked(where):
    assert where("deck", QMessageBox.StandardButton.No) is None
    assert where("deck", QMessageBox.StandardButton.Yes) == "deck.dwjob"


def test_about_the_name_as_typed_the_system_has_asked(where):
    assert where("deck.dwjob") == "deck.dwjob"
