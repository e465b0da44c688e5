"""Edits that are kept on a thread of their own, in a folder that all windows share."""

from datetime import UTC, datetime

import pytest
from PySide6.QtWidgets import QDialog

from depthwright.edits import change_job
from depthwright.errors import DepthwrightError
from depthwright.files.recovery import find_recoveries, write_recovery
from depthwright.job import Job
from depthwright_app import edit_keeper
from depthwright_app.dialogs.recovery_sheet import RecoverySheet
from depthwright_app.document import Document
from depthwright_app.edit_keeper import EditKeeper, _Kept


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "recovery"


@pytest.fixture
def left(folder):
    """Edits that a former run has left."""
    write_recovery(folder, "former", Job(name="Former"), None, "", datetime.now(UTC))
    return folder / "former.dwrecovery"


def rename(window, name):
    window.document.edit("Rename", lambda job: change_job(job, name=name))


def names(window, folder):
    """Names of the jobs that are kept, once what waits has been written."""
    window.keeper.edits._disk.submit(lambda: None).result()
    return sorted(one.job.name for one in find_recoveries(folder).found)


def test_edits_that_another_window_goes_on_with_are_neither_deleted_nor_gone_on_with_twice(
    make_window, folder, left
):
    first, second = make_window(), make_window()
    (seen,) = first.keeper.edits.left().found
    assert second.keeper.recover(seen)
    with pytest.raises(DepthwrightError, match="Another window goes on"):
        first.keeper.edits.forget(seen)
    assert not first.keeper.recover(seen)
    assert "Another window goes on" in first.strip.message.text()
    rename(first, "First's own")
    assert names(first, folder) == ["First's own", "Former"]


def test_what_cannot_be_gone_on_with_stays_and_is_not_written_over(
    window, folder, left, monkeypatch
):
    def impossible(*_, **__):
        raise DepthwrightError("These depths cannot be.")

    keeper = window.keeper
    (seen,) = keeper.edits.left().found
    with monkeypatch.context() as patch:
        patch.setattr(window.document, "open", impossible)
        assert not keeper.recover(seen)
    rename(window, "Another")
    assert names(window, folder) == ["Another", "Former"]
    window.document.undo()
    assert names(window, folder) == ["Former"]
    assert [one.job.name for one in keeper.edits.left().found] == ["Former"]


def test_what_could_not_be_read_is_told_beside_what_can(window, folder, left, monkeypatch):
    (folder / "torn.dwrecovery").write_text('{"format": "depthwright-rec')
    seen = []

    def later(sheet):
        seen.append(sheet.complaint.text())
        return QDialog.DialogCode.Rejected

    monkeypatch.setattr(RecoverySheet, "exec", later)
    window.keeper.offer_recoveries()
    assert "torn.dwrecovery.unreadable-1" in seen[0]


class Interrupted(EditKeeper):
    """A keeper whose window brings a later edit just when its disk's thread has looked at the newest."""

    later = None

    @property
    def _newest(self):
        seen = self._seen
        if self.later is not None:
            self._seen, self.later = self.later, None
        return seen

    @_newest.setter
    def _newest(self, newest):
        self._seen = newest


def test_an_edit_that_comes_while_the_disk_takes_the_one_before_is_kept(folder):
    edits = Interrupted(Document(), folder, None)
    edits._newest = _Kept("own", Job(name="First"), None, "")
    edits.later = _Kept("own", Job(name="Second"), None, "")
    edits._write()  # as for each edit
    edits._write()
    edits.close()
    assert [one.job.name for one in find_recoveries(folder).found] == ["Second"]


def test_a_fault_that_nobody_expects_is_not_lost_on_the_disk_thread(window, qtbot, monkeypatch):
    def broken(*_):
        raise ValueError("broken")

    monkeypatch.setattr(edit_keeper, "write_recovery", broken)
    with qtbot.captureExceptions() as caught:
        rename(window, "First")
        qtbot.waitUntil(lambda: caught != [])
    assert caught[0][0] is ValueError
