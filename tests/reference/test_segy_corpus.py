"""SEG-Y from elsewhere: the recordings packaged with ObsPy, as they are and with bytes changed.

Source: ObsPy 1.5.1, https://obspy.org, ``obspy/io/segy/tests/data``: seven SEG-Y files of seismic recordings
with one trace each, IBM floats and integers in both byte orders, and traces without file headers. They are
found in the installed package and read there. Their interval and place mean nothing on concrete and are
given instead of read. segyio packages no such files.

ObsPy decodes IBM floats that are not normalised as the format says (178 of the 2001 samples of one file);
segyio 1.9.14 does not. Both stand beside a decoding in whole numbers here.
"""

import warnings
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.facts import MissingGeometry
from depthwright.files.segy import open_segy, read_segy, segy_facts
from depthwright.job import NOTHING_GIVEN, Given

EVERYTHING = Given(trace_spacing_mm=5.0, dt_ns=0.02)
RECORDINGS = (
    "00001034.sgy_first_trace",
    "1.sgy_first_trace",
    "example.y_first_trace",
    "ld0042_file_00018.sgy_first_trace",
    "one_trace_year_11.sgy",
    "one_trace_year_99.sgy",
    "planes.segy_first_trace",
)


def obspy_segy():
    with warnings.catch_warnings():
        # ObsPy looks up its plug-ins in a way that the standard library has since deprecated.
        warnings.filterwarnings("ignore", "SelectableGroups dict", DeprecationWarning)
        import obspy.io.segy.segy

    return obspy.io.segy.segy


@pytest.fixture(scope="module")
def folder():
    return Path(obspy_segy().__file__).parent / "tests" / "data"


class Recording:
    """A packaged recording: what ObsPy reads of it, and its bytes to be changed in a copy."""

    def __init__(self, path, copy):
        self.path, self.copy = path, copy
        self.raw = bytearray(path.read_bytes())
        self.order = obspy_segy()._read_segy(str(path)).endian
        (trace,) = obspy_segy()._read_segy(str(path)).traces
        self.samples = trace.data.astype(np.float32)[np.newaxis]
        self.code = self.get(3225)

    @property
    def count(self):
        return self.samples.shape[1]

    def get(self, byte, width=2):
        words = {">": "big", "<": "little"}[self.order]
        return int.from_bytes(self.raw[byte - 1 : byte - 1 + width], words)

    def put(self, byte, value, width=2):
        words = {">": "big", "<": "little"}[self.order]
        self.raw[byte - 1 : byte - 1 + width] = value.to_bytes(width, words, signed=value < 0)
        return self

    def traces(self, number):
        """The trace some times over, numbered."""
        trace = bytes(self.raw[3600:])
        self.raw[3600:] = trace * number
        for at in range(number):
            self.put(3600 + at * len(trace) + 1, at + 1, 4)
        return self

    def scan(self, given=EVERYTHING):
        self.copy.write_bytes(self.raw)
        return read_segy(self.copy, given)

    def reads(self, traces=1):
        scan = self.scan()
        np.testing.assert_array_equal(
            scan.block(0, scan.traces), np.repeat(self.samples, traces, 0)
        )
        return scan

    def refused(self, words, given=EVERYTHING):
        with pytest.raises(DepthwrightError) as caught:
            self.scan(given)
        assert words in caught.value.message
        assert caught.value.hint.endswith(".")


@pytest.fixture(params=RECORDINGS)
def recording(request, folder, tmp_path):
    return Recording(folder / request.param, tmp_path / "line.sgy")


def test_no_recording_is_left_out(folder):
    """What ObsPy itself takes for SEG-Y is tried here."""
    files = [path for path in folder.iterdir() if path.is_file()]
    taken = {path.name for path in files if is_segy_to_obspy(path)}
    assert taken == set(RECORDINGS)


def is_segy_to_obspy(path):
    try:
        obspy_segy()._read_segy(str(path))
    except Exception:  # it has no one exception for what is not SEG-Y
        return False
    return path.suffix != ".npy"


def test_a_recording_reads_as_obspy_reads_it(recording):
    recording.reads()


def test_a_recording_reads_as_the_array_kept_beside_it(recording):
    array = np.load(recording.path.with_name(recording.path.name + ".npy")).astype(np.float32)
    np.testing.assert_array_equal(recording.scan().block(0, 1)[0], array.ravel())


def exact_ibm(word):
    """An IBM System/360 float by its definition (from memory), in whole numbers."""
    value = Fraction(word & 0xFFFFFF, 2**24) * Fraction(16) ** ((word >> 24 & 0x7F) - 64)
    return np.float32(float(-value if word >> 31 else value))


@pytest.mark.parametrize("name", [name for name in RECORDINGS if name[0] in "0lp"])
def test_ibm_floats_are_those_of_the_definition(folder, name):
    scan = read_segy(folder / name, EVERYTHING)
    raw = (folder / name).read_bytes()
    order = "<u4" if name[0] in "0p" else ">u4"
    words = np.frombuffer(raw, order, scan.samples, 3840).tolist()
    np.testing.assert_array_equal(scan.block(0, 1)[0], [exact_ibm(word) for word in words])
    if name[0] == "0":
        leading_zero = [word for word in words if word & 0xFFFFFF and not word & 0xF00000]
        assert len(leading_zero) == 178


def test_traces_without_file_headers_and_other_files_are_refused(folder):
    others = [path for path in folder.iterdir() if path.is_file() and path.name not in RECORDINGS]
    assert len(others) > 10
    for path in others:
        with pytest.raises(DepthwrightError) as caught:
            read_segy(path, EVERYTHING)
        assert caught.value.hint.endswith(".")
        alone = "begins with a trace of 8000 samples" in caught.value.message
        assert alone == (path.suffix == ".su" or path.name == "1.su_first_trace"), path


# With bytes changed.


def test_what_is_seismic_is_asked_about(recording):
    with pytest.raises(MissingGeometry) as caught:
        recording.traces(4).scan(NOTHING_GIVEN)
    assert "trace_spacing" in caught.value.needs
    assert segy_facts(recording.copy).needs == caught.value.needs


@pytest.mark.parametrize("lie", [0, 1, 462, 65535])
def test_a_lying_count_of_samples_is_outvoted_by_the_size(recording, lie):
    recording.traces(5).put(3221, lie).reads(5)
    recording.put(3221, recording.count).put(3600 + 115, lie).reads(5)


def test_cut_and_padded_recordings_keep_their_whole_traces(recording):
    recording.traces(5)
    whole = bytes(recording.raw)
    recording.raw[:] = whole + bytes(1000)
    recording.reads(5)
    recording.raw[:] = whole[:-100]
    scan = recording.reads(4)
    assert any("This file ends in trace 5, after " in said for said in scan.findings)
    recording.raw[:] = whole[:3600]
    recording.refused("holds no traces")
    recording.raw[:] = whole[:4000]
    recording.refused("ends before its first trace")


def test_headers_that_lie_about_time_do_not_matter(recording):
    recording.put(3217, 0).put(3600 + 117, 0).put(3600 + 109, -100)
    recording.reads()
    recording.refused("The file gives no sample interval.", Given(trace_spacing_mm=5.0))
    recording.put(3217, 40_000)
    recording.reads()


@pytest.mark.parametrize("code", [4, 13, 14])
def test_formats_that_are_not_read(recording, code):
    recording.put(3225, code).refused(f"format {code}, which is not read")


@pytest.mark.parametrize("code", [0, 17, 99])
def test_formats_that_are_none(recording, code):
    recording.put(3225, code).refused(f"gives {code} as its sample format")


@pytest.mark.parametrize("code", [6, 7, 8, 15, 16])
def test_a_format_of_another_width_does_not_pass(recording, code):
    """segyio opens 24-bit formats and unknown ones as IBM floats."""
    recording.traces(12).put(3225, code).refused("does not have its traces where")


def test_garbage_in_the_fields_of_revision_2_does_not_matter_before_it(recording):
    rng = np.random.default_rng(8)
    recording.raw[3260:3332] = rng.bytes(72)
    recording.raw[3506:3532] = rng.bytes(26)
    recording.reads()


def test_texts_of_unknown_length_and_further_headers_are_skipped(recording):
    recording.traces(3).put(3501, 1, 1).put(3505, -1)
    texts = "NOTES".ljust(3200) + "((SEG: EndText))".ljust(3200)
    recording.raw[3600:3600] = texts.encode("cp037")
    recording.reads(3)
    size = 240 + 4 * recording.count
    size -= 2 * recording.count * (recording.code == 3)
    traces = recording.raw[10_000:]
    recording.raw[10_000:] = b"".join(
        traces[at : at + 240] + bytes(480) + traces[at + 240 : at + size]
        for at in range(0, len(traces), size)
    )
    recording.put(3501, 2, 1).put(3507, 2, 4).put(3513, 3, 8).reads(3)
    recording.put(3505, 0).put(3521, 10_000, 8).reads(3)


def test_any_text_header_will_do(recording):
    for text in (bytes(3200), b"\xff" * 3200, np.random.default_rng(9).bytes(3200)):
        recording.raw[:3200] = text
        recording.reads()


def test_a_recording_in_the_other_byte_order_reads_the_same(recording):
    width = 2 if recording.code == 3 else 4
    swap = bytearray(recording.raw)
    words = np.frombuffer(recording.raw, np.uint8, offset=3840).reshape(-1, width)[:, ::-1]
    swap[3840:] = words.tobytes()
    for byte, size in ((3217, 2), (3221, 2), (3225, 2), (3600 + 115, 2), (3600 + 117, 2)):
        swap[byte - 1 : byte - 1 + size] = swap[byte - 1 : byte - 1 + size][::-1]
    recording.raw[:] = swap
    recording.reads()


def test_a_recording_is_at_hand_without_its_samples(recording):
    scan = open_segy(recording.path, EVERYTHING)
    assert (scan.traces, scan.samples, scan.sha256) == (1, recording.count, "")
