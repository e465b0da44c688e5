"""A SEG-Y file is at hand before its samples have been looked at; the check behind that finds the rest."""

import hashlib
import tracemalloc

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.segy import WRITTEN_FORMATS, open_segy, read_segy, write_segy
from depthwright.job import Given

TRACES, SAMPLES = 900, 400  # three pieces of a megabyte
TRACE_BYTES = 240 + 4 * SAMPLES
DEAD = [3, 700, 701]


@pytest.fixture(scope="module")
def samples():
    drawn = np.random.default_rng(12).normal(scale=30, size=(TRACES, SAMPLES)).astype(np.float32)
    drawn[DEAD] = 0
    return drawn


@pytest.fixture
def path(tmp_path, samples):
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.02, 5.0 * np.arange(TRACES), separation_mm=40.0)
    return path


def spoil(path, at, value):
    """Put a number in place of a sample."""
    raw = bytearray(path.read_bytes())
    place = 3600 + at[0] * TRACE_BYTES + 240 + 4 * at[1]
    raw[place : place + 4] = np.array(value, ">f4").tobytes()
    path.write_bytes(raw)


def test_what_is_opened_is_what_is_read_but_for_hash_and_samples(path):
    opened, read = open_segy(path), read_segy(path)
    assert opened.sha256 == ""
    assert read.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    for name in ("traces", "samples", "dt_ns", "separation_mm", "source", "size_bytes"):
        assert getattr(opened, name) == getattr(read, name)
    np.testing.assert_array_equal(opened.positions_mm, 5.0 * np.arange(TRACES))
    assert read.findings == (*opened.findings, "3 of 900 traces hold only zeros.")


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("sample_format", WRITTEN_FORMATS)
def test_headers_and_samples_do_not_wait_for_the_check(tmp_path, sample_format, byte_order):
    samples = np.rint(np.random.default_rng(3).uniform(0, 99, (30, 50))).astype(np.float32)
    positions = 12.5 + 2.5 * np.arange(30)
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, positions, 60.0, sample_format, byte_order)
    scan = open_segy(path)
    np.testing.assert_array_equal(scan.block(0, 30), samples)
    np.testing.assert_allclose(scan.positions_mm, positions, atol=1e-9)
    assert (scan.separation_mm, scan.sha256) == (60.0, "")


def test_the_check_counts_what_is_not_finite_wherever_it_is(path):
    for at, value in (((0, 0), np.nan), ((450, 7), np.inf), ((899, 399), -np.inf)):
        spoil(path, at, value)
    checked = open_segy(path).check()
    assert checked.findings[-1] == (
        "3 of 900 traces hold only zeros. 3 samples are not finite numbers and are read as zero."
    )
    assert checked.block(899, 900)[0, 399] == 0


def test_the_hash_is_of_the_whole_file_with_what_comes_after_the_traces(path):
    path.write_bytes(path.read_bytes() + bytes(77))
    assert open_segy(path).check().sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_check_leaves_the_opened_scan_as_it_was_and_is_made_once(path):
    opened = open_segy(path)
    checked = opened.check()
    assert (opened.sha256, checked.block(5, 9).tolist()) == ("", opened.block(5, 9).tolist())
    path.unlink()
    assert checked.check() is checked


def test_the_check_says_how_far_it_is(path):
    heard = []
    open_segy(path).check(heard.append)
    assert heard == sorted(heard)
    assert heard[0] == 0.0
    assert 0.5 < heard[-1] <= 1.0


def test_a_check_that_nobody_wants_any_more_ends(path):
    class UnwantedError(Exception):
        pass

    heard = []

    def report(fraction):
        heard.append(fraction)
        raise UnwantedError

    with pytest.raises(UnwantedError):
        open_segy(path).check(report)
    assert heard == [0.0]


def test_a_file_that_changes_before_the_check_is_noticed(path):
    scan = open_segy(path)
    path.write_bytes(path.read_bytes()[:-8])
    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.check()


def test_a_file_that_is_cut_during_the_check_is_noticed(path):
    scan = open_segy(path)

    def report(fraction):
        path.write_bytes(path.read_bytes()[:5000])

    with pytest.raises(DepthwrightError, match=r"line\.sgy has changed since it was opened"):
        scan.check(report)


def test_a_file_that_is_written_to_during_the_check_has_no_hash(path):
    scan = open_segy(path)

    def report(fraction):
        if fraction == 0.0:
            with path.open("ab") as file:
                file.write(b"more")

    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.check(report)


def test_a_file_that_is_gone_at_the_check_is_told(path):
    scan = open_segy(path)
    path.unlink()
    with pytest.raises(DepthwrightError, match=r"line\.sgy does not exist"):
        scan.check()


@pytest.mark.parametrize("samples", [512, 8000])
def test_opening_and_reading_take_memory_for_headers_and_block_alone(tmp_path, samples):
    """The file is 48 MB of dead traces, which take no room on most disks."""
    path = tmp_path / "long.sgy"
    write_segy(path, np.ones((2, samples), np.float32), 10 / samples, 5.0 * np.arange(2))
    trace_bytes = 240 + 4 * samples
    traces = 48_000_000 // trace_bytes
    with path.open("r+b") as file:
        last = file.read()[3600:3840]
        file.truncate(3600 + traces * trace_bytes)
        file.seek(3600 + (traces - 1) * trace_bytes)
        file.write(last)
    tracemalloc.start()
    try:
        scan = open_segy(path, Given(trace_spacing_mm=5.0))
        scan.block(traces - 50, traces)
        scan.check()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert scan.traces == traces
    # Some copies of a piece of a megabyte, the block, and of each header what is kept.
    assert peak < 4 * 2**20 + 2 * 50 * trace_bytes + 150 * traces
