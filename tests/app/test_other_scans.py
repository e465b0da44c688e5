"""A line only ever shows its own scan, whatever is removed, added, undone or opened meanwhile."""

import numpy as np
import pytest

from depthwright.files.segy import read_segy, write_segy
from depthwright.processing.filters import dewow
from depthwright.showing.levels import columns
from depthwright_app.demo import sample_folder

SAMPLES = sample_folder()


def test_undo_after_remove_and_add_brings_the_right_scan_back(hand, demo):
    document = hand.document
    document.show_line("line-2")
    second = document.job.line("line-2").scan.sha256
    hand.trigger("remove-line")
    hand.window.keeper.open_path(demo.parent / "deck-L1.sgy")
    hand.settle()
    assert document.job.line("line-2").scan.sha256 != second
    hand.trigger("undo")
    hand.trigger("undo")
    hand.settle()
    assert document.job.line("line-2").scan.sha256 == second
    assert document.stages["line-2"].scan.source == document.job.line("line-2").scan.path


def test_a_scan_that_arrives_late_does_not_enter_another_job(hand, demo):
    hand.window.keeper.open_job(demo)
    hand.window.keeper.new_job()
    hand.settle()
    assert not hand.document.stages
    hand.window.keeper.open_path(demo.parent / "deck-L1.sgy")
    hand.window.keeper.new_job()
    hand.settle()
    assert not hand.document.job.lines


def test_the_picture_of_an_uneven_line_stands_where_its_marks_do(empty_hand, tmp_path):
    """A gap of 300 mm in the coordinates: bar 2 is drawn, clicked and marked at its own place."""
    source = read_segy(SAMPLES / "deck-L1.sgy")
    keep = np.r_[0:80, 140:241]
    write_segy(
        tmp_path / "gap.sgy",
        source.block(0, 241)[keep],
        source.dt_ns,
        source.positions_mm[keep],
        40.0,
    )
    hand = empty_hand
    hand.window.keeper.open_path(tmp_path / "gap.sgy")
    hand.settle()
    sheet = hand.pane.scan.sheet
    assert sheet.edges_mm == pytest.approx((-2.5, 1202.5))
    shown = columns(sheet.levels, sheet.where_mm, np.array([928.0, 932.0]))[0]
    trace = source.nearest_trace(930.0)
    frequency = hand.document.job.antennas[0].centre_frequency_ghz
    expected = dewow(source.block(trace, trace + 1), source.dt_ns, frequency)[0]
    assert shown == pytest.approx(expected, abs=1e-5)
