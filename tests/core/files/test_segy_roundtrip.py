"""What is written as SEG-Y comes back: samples, positions, interval, whatever the format and byte order."""

import hashlib
import os
import threading
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from depthwright.errors import DepthwrightError
from depthwright.files.segy import WRITTEN_FORMATS, read_segy, write_segy
from depthwright.files.segy_headers import decode_text
from depthwright.files.segy_numbers import float_to_ibm, ibm_to_float

SIGNED = {
    1: 2.0**100,
    2: 2.0**31 - 2**7,
    3: 2.0**15 - 1,
    5: 2.0**100,
    6: 2.0**100,
    7: 2.0**23 - 1,
    8: 2.0**7 - 1,
    9: 2.0**63 - 2**39,
}
UNSIGNED = {
    10: 2.0**32 - 2**8,
    11: 2.0**16 - 1,
    12: 2.0**64 - 2**40,
    15: 2.0**24 - 1,
    16: 2.0**8 - 1,
}
"""Largest number of each format that single precision holds too, or far enough for a float."""

LINES = hnp.array_shapes(min_dims=2, max_dims=2, min_side=2, max_side=12)


def line(traces=40, samples=64, seed=1):
    return np.random.default_rng(seed).normal(scale=20, size=(traces, samples)).astype(np.float32)


def lowest(sample_format):
    return -SIGNED[sample_format] if sample_format in SIGNED else 0.0


def written(folder, samples, **options):
    path = Path(folder) / "line.sgy"
    options.setdefault("dt_ns", 8.0 / samples.shape[1])
    options.setdefault("positions_mm", 5.0 * np.arange(len(samples)))
    write_segy(path, samples, **options)
    return path


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("sample_format", WRITTEN_FORMATS)
@settings(max_examples=8, deadline=None)
@given(data=st.data())
def test_samples_come_back_to_the_precision_of_the_format(sample_format, byte_order, data):
    low, high = lowest(sample_format), {**SIGNED, **UNSIGNED}[sample_format]
    values = st.floats(low, high, width=32)
    samples = data.draw(hnp.arrays(np.float32, data.draw(LINES), elements=values))
    with TemporaryDirectory() as folder:
        path = written(folder, samples, sample_format=sample_format, byte_order=byte_order)
        scan = read_segy(path)
        back = scan.block(0, scan.traces)
    assert back.dtype == np.float32
    if sample_format == 1:  # 21 to 24 bits of fraction, by where the hexadecimal digit falls
        np.testing.assert_allclose(back, samples, rtol=2.0**-21, atol=1e-45)
    elif sample_format in (5, 6):
        np.testing.assert_array_equal(back, samples)
    else:
        np.testing.assert_array_equal(back, np.rint(samples))


WIDTHS = {2: 4, 3: 2, 7: 3, 8: 1, 9: 8, 10: 4, 11: 2, 12: 8, 15: 3, 16: 1}


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("sample_format", WIDTHS)
def test_integers_are_stored_as_python_stores_them(tmp_path, sample_format, byte_order):
    signed, width = sample_format in SIGNED, WIDTHS[sample_format]
    numbers = [0, 1, 5, 127, 100, -128 if signed else 255]
    if width > 1:
        numbers += [0x1234, 0x7FFF, -0x7FFE if signed else 0xFFFE]
    if width > 2:
        numbers += [0x123456, 0x7FFFFF, -0x7FFFFE if signed else 0xFFFFFE]
    path = written(
        tmp_path,
        np.array([numbers, numbers[::-1]], np.float32),
        dt_ns=0.5,
        sample_format=sample_format,
        byte_order=byte_order,
    )
    expected = b"".join(number.to_bytes(width, byte_order, signed=signed) for number in numbers)
    assert path.read_bytes()[3840 : 3840 + len(expected)] == expected
    np.testing.assert_array_equal(read_segy(path).block(0, 1)[0], numbers)


@settings(max_examples=40, deadline=None)
@given(
    tenths=st.lists(st.integers(5, 900), min_size=2, max_size=60),
    start=st.integers(-9_000_000, 9_000_000),
    direction=st.sampled_from([1, -1]),
)
def test_positions_come_back_to_a_tenth_of_a_millimetre(tenths, start, direction):
    positions = (start + direction * np.cumsum(tenths)) / 10
    with TemporaryDirectory() as folder:
        path = written(folder, line(len(tenths), 8), positions_mm=positions)
        back = read_segy(path).positions_mm
    np.testing.assert_allclose(back, positions, rtol=0, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(dt_ns=st.floats(0.001, 32.0))
def test_the_sample_interval_comes_back_in_full_from_the_text_header(dt_ns):
    with TemporaryDirectory() as folder:
        scan = read_segy(written(folder, line(3, 4), dt_ns=dt_ns))
    assert scan.dt_ns == pytest.approx(dt_ns, rel=1e-8)


def test_the_interval_fields_are_rounded_not_truncated(tmp_path):
    raw = written(tmp_path, line(), dt_ns=0.0198).read_bytes()
    assert int.from_bytes(raw[3216:3218], "big") == 20
    assert int.from_bytes(raw[3600 + 116 : 3600 + 118], "big") == 20


def test_the_text_header_states_the_units_and_keeps_what_the_caller_adds(tmp_path):
    text = decode_text(written(tmp_path, line(), dt_ns=0.02, text="A\nB").read_bytes()[:3200])
    assert "INTERVAL FIELDS ARE IN PICOSECONDS: 20 PS" in text
    assert "MIDPOINTS IN MM" in text
    assert text.splitlines()[3:5] == ["C 4 A", "C 5 B"]


def test_separation_hash_and_source_are_kept(tmp_path):
    path = written(tmp_path, line(), separation_mm=60.0)
    scan = read_segy(path)
    assert scan.separation_mm == 60.0
    assert scan.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert scan.source == str(path)
    assert read_segy(written(tmp_path, line())).separation_mm is None


@pytest.mark.parametrize("sample_format", [1, 5])
@pytest.mark.parametrize("size", [1, 7, 39, 40, 41])
def test_blocks_put_together_are_the_whole_line(tmp_path, size, sample_format):
    scan = read_segy(written(tmp_path, line(), sample_format=sample_format))
    pieces = np.concatenate([block for _, block in scan.blocks(size)])
    np.testing.assert_array_equal(pieces, scan.block(0, scan.traces))


@pytest.mark.parametrize("sample_format", WRITTEN_FORMATS)
def test_a_cut_file_reads_the_same_as_the_whole_one_up_to_the_cut(tmp_path, sample_format):
    path = written(tmp_path, np.abs(line()), sample_format=sample_format)
    whole = read_segy(path).block(0, 39)
    path.write_bytes(path.read_bytes()[:-1])
    cut = read_segy(path)
    assert cut.traces == 39
    assert any("ends in trace 40, after 63 of 64 samples" in said for said in cut.findings)
    np.testing.assert_array_equal(cut.block(0, 39), whole)


def test_many_threads_may_ask_for_blocks_at_once(tmp_path):
    samples = line(400, 32)
    scan = read_segy(written(tmp_path, samples))
    wrong = []

    def ask(seed):
        rng = np.random.default_rng(seed)
        for _ in range(40):
            first = int(rng.integers(0, 399))
            last = int(rng.integers(first + 1, 401))
            if not np.array_equal(scan.block(first, last), samples[first:last]):
                wrong.append((first, last))

    threads = [threading.Thread(target=ask, args=(seed,)) for seed in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def next_handle():
    handle = os.open(os.devnull, os.O_RDONLY)
    os.close(handle)
    return handle


def test_reading_leaves_no_file_open(tmp_path):
    path = written(tmp_path, line())
    before = next_handle()
    scan = read_segy(path)
    for _ in scan.blocks(8):
        pass
    assert next_handle() == before


def test_a_relative_path_still_works_from_another_folder(tmp_path, monkeypatch):
    samples = line()
    written(tmp_path, samples)
    monkeypatch.chdir(tmp_path)
    scan = read_segy("line.sgy")
    monkeypatch.chdir(Path.home())
    np.testing.assert_array_equal(scan.block(0, 40), samples)


def test_writing_replaces_the_file_and_leaves_nothing_beside_it(tmp_path):
    written(tmp_path, line(seed=1))
    path = written(tmp_path, line(seed=2))
    np.testing.assert_array_equal(read_segy(path).block(0, 40), line(seed=2))
    assert list(tmp_path.iterdir()) == [path]


def test_a_failed_write_keeps_the_old_file(tmp_path):
    samples = line(600)
    path = written(tmp_path, samples)
    before = path.read_bytes()
    samples[599, 3] = 4e4  # found only in the last block
    with pytest.raises(DepthwrightError, match="reach beyond"):
        written(tmp_path, samples, sample_format=3)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"sample_format": 4}, "format 4 is not written"),
        ({"dt_ns": 40.0}, "does not fit"),
        ({"dt_ns": float("nan")}, "does not fit"),
        ({"positions_mm": np.zeros(3)}, "one finite position"),
        ({"positions_mm": np.full(40, np.nan)}, "one finite position"),
        ({"positions_mm": np.full(40, 1e12)}, "do not fit"),
    ],
)
def test_what_does_not_fit_is_refused(tmp_path, options, words):
    with pytest.raises(DepthwrightError, match=words):
        written(tmp_path, line(), **options)
    assert list(tmp_path.iterdir()) == []


def test_samples_that_are_not_finite_fit_only_the_ieee_format(tmp_path):
    samples = line()
    samples[3, 4] = np.nan
    with pytest.raises(DepthwrightError, match="not finite"):
        written(tmp_path, samples, sample_format=1)
    scan = read_segy(written(tmp_path, samples))
    assert scan.block(3, 4)[0, 4] == 0
    assert any("1 samples are not finite" in finding for finding in scan.findings)


def test_a_folder_that_does_not_exist_is_told(tmp_path):
    with pytest.raises(DepthwrightError, match="is not there"):
        written(tmp_path / "nowhere", line())


@settings(max_examples=200, deadline=None)
@given(
    st.floats(allow_nan=False, allow_infinity=False, width=32).filter(
        lambda v: v == 0 or abs(v) > 1e-37
    )
)
def test_ibm_floats_hold_single_precision_to_21_bits(value):
    single = np.array([value], np.float32)
    assert ibm_to_float(float_to_ibm(single))[0] == pytest.approx(single[0], rel=2.0**-21)


def test_ibm_floats_need_not_be_normalised():
    # By the definition, (-1)**sign * fraction / 2**24 * 16**(power - 64), the first three are 100;
    # -118.625 = C276A000 is the worked example of many texts on System/360 (from memory).
    words = np.array([0x42640000, 0x43064000, 0x46000064, 0xC276A000, 0, 0x80000000], np.uint32)
    np.testing.assert_array_equal(ibm_to_float(words), [100, 100, 100, -118.625, 0, 0])
