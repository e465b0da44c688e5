"""Files that are broken, odd or no SEG-Y at all end in one sentence, never in another exception."""

import io
import os
import zipfile

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.segy import read_segy, segy_facts, write_segy

TRACES, SAMPLES = 12, 100
TRACE_BYTES = 240 + 4 * SAMPLES


@pytest.fixture
def samples():
    return np.random.default_rng(7).normal(size=(TRACES, SAMPLES)).astype(np.float32)


@pytest.fixture
def good(tmp_path, samples):
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), separation_mm=50)
    return path


def put(path, byte, value, width=2, order="big", signed=False):
    """Change a number at a byte that counts from 1, as in the standard."""
    raw = bytearray(path.read_bytes())
    raw[byte - 1 : byte - 1 + width] = value.to_bytes(width, order, signed=signed)
    path.write_bytes(raw)


def refusal(path):
    with pytest.raises(DepthwrightError) as caught:
        read_segy(path)
    assert caught.value.hint.endswith(".")
    return caught.value.message


def zipped():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("data.bin", bytes(range(256)) * 40)
    return buffer.getvalue()


NOT_SEGY = {
    "text": b"position,time\n" + b"1.0,2.0\n" * 2000,
    "picture": b"\x89PNG\r\n\x1a\n" + np.random.default_rng(3).bytes(9000),
    "archive": zipped(),
    "noise": np.random.default_rng(4).bytes(20000),
    "zeros": bytes(20000),
}


@pytest.mark.parametrize("kind", NOT_SEGY)
def test_what_is_no_segy_file_is_called_so(tmp_path, kind):
    path = tmp_path / "line.sgy"
    path.write_bytes(NOT_SEGY[kind])
    assert refusal(path).startswith("line.sgy is not a SEG-Y file")


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (0, "is empty"),
        (1, "holds only 1 bytes"),
        (3599, "holds only 3599 bytes"),
        (3600, "holds no traces"),
        (3700, "holds no traces"),
        (3840, "ends before its first trace of 100 samples is complete"),
        (3600 + TRACE_BYTES - 1, "ends before its first trace"),
    ],
)
def test_a_file_that_ends_too_early_is_refused(good, size, words):
    good.write_bytes(good.read_bytes()[:size])
    assert words in refusal(good)


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("code", [4, 13, 14])
def test_a_format_of_the_standard_that_is_not_read_is_named(tmp_path, samples, code, byte_order):
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), byte_order=byte_order)
    put(path, 3225, code, order=byte_order)
    assert f"SEG-Y format {code}, which is not read" in refusal(path)


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("code", [0, 17, 99, 0x7FFF])
def test_a_format_that_is_none_of_the_standard_is_told(tmp_path, samples, code, byte_order):
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), byte_order=byte_order)
    put(path, 3225, code, order=byte_order)
    assert f"gives {code} as its sample format" in refusal(path)


def test_no_number_is_a_format_in_both_byte_orders():
    """So the format alone tells the order: no file opens both ways."""
    both = [
        raw
        for raw in range(2**16)
        if 1 <= raw <= 16 and 1 <= int.from_bytes(raw.to_bytes(2, "big"), "little") <= 16
    ]
    assert both == []


def test_traces_without_file_headers_are_called_so(good):
    raw = good.read_bytes()
    good.write_bytes(raw[3600:])
    assert "begins with a trace of 100 samples" in refusal(good)


def test_a_missing_count_in_the_binary_header_is_taken_from_the_trace(good, samples):
    put(good, 3221, 0)
    np.testing.assert_array_equal(read_segy(good).block(0, TRACES), samples)


def test_of_two_counts_the_one_that_fits_the_size_is_taken(good, samples):
    put(good, 3221, 65535)
    np.testing.assert_array_equal(read_segy(good).block(0, TRACES), samples)
    put(good, 3221, SAMPLES)
    put(good, 3600 + 115, 462)
    np.testing.assert_array_equal(read_segy(good).block(0, TRACES), samples)


def test_absurd_counts_are_refused(good):
    put(good, 3221, 65535)
    put(good, 3600 + 115, 65535)
    assert "ends before its first trace of 65535 samples" in refusal(good)
    put(good, 3221, 0)
    put(good, 3600 + 115, 0)
    assert "does not say how many samples" in refusal(good)


def test_a_text_header_in_ascii_is_read(good):
    raw = bytearray(good.read_bytes())
    raw[:3200] = b"C 1 INVENTED LINE".ljust(80).ljust(3200)
    good.write_bytes(raw)
    assert segy_facts(good).text == "C 1 INVENTED LINE"


def test_samples_that_are_not_finite_are_counted_and_read_as_zero(good):
    for byte, word in ((241, 0x7FC00000), (245, 0x7F800000)):
        put(good, 3600 + byte, word, width=4)
    scan = read_segy(good)
    assert "2 samples are not finite numbers and are read as zero." in scan.findings
    assert scan.block(0, 1)[0, :2].tolist() == [0, 0]


def test_an_ibm_number_beyond_single_precision_counts_as_not_finite(tmp_path, samples):
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), sample_format=1)
    put(path, 3600 + 241, 0x7FFFFFFF, width=4)
    scan = read_segy(path)
    assert "1 samples are not finite numbers and are read as zero." in scan.findings
    assert scan.block(0, 1)[0, 0] == 0


def test_dead_traces_and_dead_lines_are_told(good, samples):
    samples[[2, 5]] = 0
    write_segy(good, samples, 0.05, 5.0 * np.arange(TRACES))
    assert "2 of 12 traces hold only zeros." in read_segy(good).findings
    write_segy(good, 0 * samples, 0.05, 5.0 * np.arange(TRACES))
    assert "The scan holds only zeros." in read_segy(good).findings


def test_a_folder_is_called_a_folder(tmp_path):
    assert refusal(tmp_path) == f"{tmp_path.name} is a folder."
    assert refusal("/").endswith("is a folder.")


def test_a_missing_file_is_called_missing(tmp_path):
    assert refusal(tmp_path / "gone.sgy") == "gone.sgy does not exist."
    assert refusal(tmp_path / "gone.sgy" / "x.sgy").startswith("x.sgy")
    assert "could not be read" in refusal("nul\0byte.sgy")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes of this kind here")
def test_a_pipe_is_refused_without_waiting_for_it(tmp_path):
    os.mkfifo(tmp_path / "pipe.sgy")
    assert refusal(tmp_path / "pipe.sgy") == "pipe.sgy is not a file."


def test_a_file_that_may_not_be_read_is_told(good, monkeypatch):
    def refuse(*_args, **_options):
        raise PermissionError(13, "Permission denied")

    # The mode bits would not stop a test that runs as the administrator.
    monkeypatch.setattr("pathlib.Path.open", refuse)
    assert refusal(good) == "line.sgy could not be read: Permission denied."


def test_a_file_that_changes_after_opening_is_noticed(good):
    scan = read_segy(good)
    good.write_bytes(good.read_bytes()[:-8])
    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.block(0, 1)
    good.unlink()
    with pytest.raises(DepthwrightError, match="does not exist"):
        scan.block(0, 1)
