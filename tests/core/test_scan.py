"""The scan: the samples as recorded."""

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.scan import Scan, scan_from_array


def scan(traces: int = 7, samples: int = 5, **fields: float) -> Scan:
    return scan_from_array(np.arange(traces * samples).reshape(traces, samples), 0.02, **fields)


def test_a_block_is_a_copy_in_float32():
    line = scan()
    block = line.block(2, 4)
    assert block.dtype == np.float32
    assert block.tolist() == [[10, 11, 12, 13, 14], [15, 16, 17, 18, 19]]
    block[:] = 0
    assert line.block(2, 4)[0, 0] == 10


def test_the_array_it_was_made_from_may_change_later():
    samples = np.ones((3, 4), np.float32)
    line = scan_from_array(samples, 0.02)
    samples[:] = 9
    assert line.block(0, 3).max() == 1


def test_blocks_cover_every_trace_once():
    line = scan()
    parts = list(line.blocks(3))
    assert [first for first, _ in parts] == [0, 3, 6]
    assert np.array_equal(np.concatenate([block for _, block in parts]), line.block(0, 7))


def test_a_block_may_be_written_to_however_its_reader_made_it():
    kept = np.ones((4, 5), np.float32)
    readers = {
        "a view": lambda first, last: kept[first:last],
        "all": lambda first, last: kept[:],
        "numbers of another kind": lambda first, last: kept[first:last].astype(np.float64),
        "columns first": lambda first, last: np.asfortranarray(kept[first:last]),
    }
    for read in readers.values():
        block = Scan(4, 5, 0.02, np.arange(4.0), "", read).block(0, 4)
        block[:] = 7
        assert block.flags.c_contiguous
    assert kept.max() == 1


def test_a_scan_in_memory_needs_no_check():
    line = scan()
    assert line.check() is line


def test_a_check_brings_the_hash_and_adds_its_findings():
    line = Scan(
        4, 5, 0.02, np.arange(4.0), "", lambda first, last: np.ones((last - first, 5)),
        findings=("Inferred.",), _check=lambda report: ("ab", ("Dead.",)),
    )  # fmt: skip
    checked = line.check()
    assert (checked.sha256, checked.findings) == ("ab", ("Inferred.", "Dead."))
    assert line.findings == ("Inferred.",)


def test_samples_that_are_no_numbers_are_read_as_zero():
    samples = np.array([[1.0, np.nan, np.inf], [-np.inf, 2.0, 3.0]])
    assert scan_from_array(samples, 0.02).block(0, 2).tolist() == [[1, 0, 0], [0, 2, 3]]


@pytest.mark.parametrize(("first", "last"), [(-1, 2), (2, 2), (3, 1), (0, 8)])
def test_traces_that_are_not_there_cannot_be_asked_for(first, last):
    with pytest.raises(IndexError):
        scan().block(first, last)


def test_size_and_geometry():
    line = scan(trace_spacing_mm=5.0, start_mm=100.0)
    assert line.time_window_ns == pytest.approx(0.08)
    assert line.length_mm == 30.0
    assert line.trace_spacing_mm == 5.0
    assert line.nearest_trace(111.0) == 2
    assert line.nearest_trace(-1e6) == 0
    assert line.nearest_trace(1e6) == 6


def test_a_line_recorded_backwards_has_a_length_and_a_spacing_too():
    line = scan(trace_spacing_mm=-5.0, start_mm=30.0)
    assert (line.length_mm, line.trace_spacing_mm) == (30.0, 5.0)
    assert line.nearest_trace(0.0) == 6


def test_a_single_trace_has_no_spacing():
    assert scan(traces=1).trace_spacing_mm == 0.0


def test_positions_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        scan().positions_mm[0] = 1.0


def test_the_hash_tells_scans_apart():
    assert scan().sha256 == scan().sha256
    assert scan().sha256 != scan(samples=6).sha256


@pytest.mark.parametrize(
    ("samples", "dt_ns", "said"),
    [
        (np.zeros((0, 5)), 0.02, "0 traces"),
        (np.zeros((5, 1)), 0.02, "1 samples"),
        (np.zeros((5, 5)), 0.0, "interval"),
        (np.zeros((5, 5)), float("nan"), "interval"),
    ],
)
def test_what_is_no_line_is_refused(samples, dt_ns, said):
    with pytest.raises(DepthwrightError, match=said):
        scan_from_array(samples, dt_ns)


def test_every_trace_needs_a_position():
    with pytest.raises(DepthwrightError, match="one position for each trace"):
        Scan(2, 5, 0.02, np.zeros(3), "", lambda first, last: np.zeros((last - first, 5)))
