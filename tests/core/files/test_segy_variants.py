"""SEG-Y as it comes: other revisions, cut and padded ends, headers that lie."""

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.facts import MissingGeometry
from depthwright.files.segy import open_segy, read_segy, segy_facts, write_segy
from depthwright.job import Given

TRACES, SAMPLES = 12, 100
TRACE_BYTES = 240 + 4 * SAMPLES
SPACING = Given(trace_spacing_mm=5.0)


@pytest.fixture
def samples():
    return np.random.default_rng(7).normal(size=(TRACES, SAMPLES)).astype(np.float32)


@pytest.fixture(params=["big", "little"])
def order(request):
    return request.param


@pytest.fixture
def line(tmp_path, samples, order):
    return Edited(tmp_path / "line.sgy", samples, order)


class Edited:
    """A line whose bytes are changed; these count from 1, as in the standard."""

    def __init__(self, path, samples, order):
        self.path, self.order = path, order
        write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), 50.0, byte_order=order)
        self.raw = bytearray(path.read_bytes())

    def put(self, byte, value, width=2):
        field = value.to_bytes(width, self.order, signed=value < 0)
        self.raw[byte - 1 : byte - 1 + width] = field
        return self

    def put_in(self, trace, byte, value, width=2):
        return self.put(3600 + trace * TRACE_BYTES + byte, value, width)

    def put_in_all(self, byte, value, width=2):
        for trace in range(TRACES):
            self.put_in(trace, byte, value, width)
        return self

    def traces(self):
        return [
            bytes(self.raw[at : at + TRACE_BYTES])
            for at in range(3600, 3600 + TRACES * TRACE_BYTES, TRACE_BYTES)
        ]

    def body(self, body):
        """Put other bytes in place of the traces."""
        self.raw[3600:] = body
        return self

    def scan(self, given=SPACING):
        self.path.write_bytes(self.raw)
        return read_segy(self.path, given)

    def refusal(self, given=SPACING):
        with pytest.raises(DepthwrightError) as caught:
            self.scan(given)
        assert caught.value.hint.endswith(".")
        return caught.value.message

    def ending(self):
        self.path.write_bytes(self.raw)
        facts = segy_facts(self.path, SPACING)
        why = next(row.why for row in facts.rows if row.label == "Size")
        assert why == "" or why in open_segy(self.path, SPACING).findings
        return why


def same(scan, samples):
    np.testing.assert_array_equal(scan.block(0, scan.traces), samples)


# The end of the file.


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        (1, "in trace 12, after 99 of 100 samples"),
        (80, "in trace 12, after 80 of 100 samples"),
        (400, "in the header of trace 12"),
        (640 - 8, "in the header of trace 12"),
        (640 - 4, "in the header of trace 12"),
        (640 + 4, "in trace 11, after 99 of 100 samples"),
    ],
)
def test_a_cut_file_says_where_it_ends(line, samples, missing, words):
    del line.raw[-missing:]
    whole = TRACES - 1 - missing // TRACE_BYTES
    same(line.scan(), samples[:whole])
    assert line.ending() == (
        f"This file ends {words}. The {whole} whole traces are shown; save the line again from the"
        " instrument."
    )


@pytest.mark.parametrize("extra", [1, 3, 240, 300, 639, 640, 3 * TRACE_BYTES, 5000])
def test_empty_room_after_the_traces_is_left_out(line, samples, extra):
    line.raw += bytes(extra)
    same(line.scan(), samples)
    assert (
        line.ending()
        == f"After the last of 12 traces come {extra} bytes that are no trace and are left out."
    )


def test_other_bytes_after_the_traces_are_left_out(line, samples):
    line.raw += np.random.default_rng(1).bytes(500)
    same(line.scan(), samples)
    assert "come 500 bytes that are no trace" in line.ending()


def test_a_single_trace_may_have_bytes_after_it(line, samples):
    line.raw[3600 + TRACE_BYTES :] = b"end of line" * 30
    same(line.scan(), samples[:1])
    assert (
        line.ending() == "After the only trace come 330 bytes that are no trace and are left out."
    )


def test_dead_traces_at_the_end_are_traces(line, samples):
    for trace in (10, 11):
        start = 3600 + trace * TRACE_BYTES + 240
        line.raw[start : start + 4 * SAMPLES] = bytes(4 * SAMPLES)
    assert line.scan().traces == TRACES


def test_traces_without_anything_in_their_headers_are_traces(line, samples):
    blank = b"".join(bytes(240) + trace[240:] for trace in line.traces())
    same(line.body(blank).scan(Given(trace_spacing_mm=5.0)), samples)
    del line.raw[-30:]
    same(line.scan(), samples[:11])
    assert "ends in trace 12, after 92 of 100 samples" in line.ending()


def test_a_last_trace_with_an_empty_header_is_a_trace(line, samples):
    for trace in (TRACES - 2, TRACES - 1):
        line.put_in(trace, 1, 0, 240)
    line.raw += bytes(2 * TRACE_BYTES)
    same(line.scan(), samples)


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        (7 * TRACE_BYTES, "This file holds 7 of 12 traces, which are shown;"),
        (
            7 * TRACE_BYTES + 340,
            "in trace 8, after 25 of 100 samples. 7 of 12 traces are whole and are shown;",
        ),
    ],
)
def test_a_cut_file_that_counts_its_traces_says_how_many_are_missing(line, samples, kept, words):
    line.put(3501, 2, 1).put(3513, TRACES, 8)
    line.body(bytes(line.raw[3600 : 3600 + kept]))
    same(line.scan(), samples[:7])
    assert words in line.ending()


def test_a_count_of_traces_tells_them_from_what_comes_after(line, samples):
    line.put(3501, 2, 1).put(3513, TRACES, 8)
    line.raw += b"\x40" * 3200
    same(line.scan(), samples)
    assert "come 3200 bytes that are no trace" in line.ending()


def test_a_count_of_traces_that_is_too_small_hides_none(line, samples):
    line.put(3501, 2, 1).put(3513, 4, 8)
    same(line.scan(), samples)
    assert line.ending() == "This file counts 4 traces and holds 12, which are all shown."


@pytest.mark.parametrize(("gone", "much"), [(1, 0), (700, 0), (0, 1), (0, 77)])
def test_where_bytes_are_lost_or_added_the_traces_before_are_shown(line, samples, gone, much):
    place = 3600 + 5 * TRACE_BYTES + 600  # in trace 6, and with 700 bytes into trace 7
    line.raw[place : place + gone] = b"\x07" * much
    scan = line.scan(Given())
    np.testing.assert_array_equal(scan.block(0, 5), samples[:5])
    assert scan.traces == 6
    assert line.ending() == (
        "No trace follows trace 6 where one should: something else comes there, or bytes are missing"
        " from trace 6. The traces up to it are shown; copy the file again, or save the line again"
        " from the instrument."
    )


@pytest.mark.parametrize("first", [1, 6])
def test_headers_left_empty_from_some_trace_on_are_headers(line, samples, first):
    for trace in range(first, TRACES):
        line.put_in(trace, 1, 0, 240)
    same(line.scan(), samples)
    assert line.ending() == ""


# Traces of their own lengths.


def uneven(line, lengths):
    """Traces of other lengths, each said in its header."""
    for trace, length in enumerate(lengths):
        line.put_in(trace, 115, length)
    return line.body(
        b"".join(trace[: 240 + 4 * n] for trace, n in zip(line.traces(), lengths, strict=False))
    )


@pytest.mark.parametrize(
    "lengths", [[100] * 6 + [90] * 6, [100, 50], [90, 100, 80], [50, 100, 100], [90, 100] * 6]
)
def test_traces_that_differ_in_length_are_refused(line, lengths):
    said = uneven(line, lengths).refusal()
    assert f"differ in length ({min(lengths)} to 100 samples)" in said


def test_a_cut_file_of_differing_traces_is_known_too(line):
    uneven(line, [100] * 3 + [90] * 6)
    del line.raw[-50:]
    assert "differ in length (90 to 100 samples)" in line.refusal()


# Headers that lie.


@pytest.mark.parametrize("lie", [0, 1, 75, 99, 101, 462, 65535])
@pytest.mark.parametrize("trace", [0, 5, TRACES - 2, TRACES - 1])
def test_a_count_of_samples_that_lies_in_one_trace_changes_nothing(line, samples, trace, lie):
    same(line.put_in(trace, 115, lie).scan(), samples)
    assert line.ending() == ""


@pytest.mark.parametrize("lie", [0, 1, 75, 99, 101, 462, 65535])
def test_of_two_counts_the_size_of_the_file_decides(line, samples, lie):
    same(line.put(3221, lie).scan(), samples)
    same(line.put(3221, SAMPLES).put_in_all(115, lie).scan(), samples)


@pytest.mark.parametrize("cut", [1, 200, 500])
@pytest.mark.parametrize("lie", [0, 75, 99, 101])
def test_of_two_counts_the_second_trace_decides_in_a_cut_file(line, samples, lie, cut):
    del line.raw[-cut:]
    same(line.put(3221, lie).scan(), samples[:11])
    same(line.put(3221, SAMPLES).put_in(0, 115, lie).scan(), samples[:11])


def test_counts_that_lead_nowhere_are_refused(line):
    line.put(3221, 77).put_in(0, 115, 55)
    assert "does not have its traces where its headers say" in line.refusal()


def test_intervals_of_traces_may_be_empty_or_lie(line):
    assert line.put_in_all(117, 0).scan().dt_ns == 0.05
    assert line.put(3217, 0).put_in_all(117, 50).put_in(3, 117, 7).scan().dt_ns == 0.05


def test_an_interval_of_more_than_signed_numbers_hold(line):
    raw = line.raw[:3200] = b"\x40" * 3200
    assert len(raw) == 3200
    line.put(3217, 40_000).put_in_all(117, 40_000)
    scan = line.scan(Given(trace_spacing_mm=5.0, dt_ns=0.4))
    assert scan.dt_ns == 0.4
    stated = [row.stated for row in segy_facts(line.path).rows if row.label == "Sample interval"]
    assert stated == ["40000 in bytes 3217, 40000 in bytes 117"]


def test_delays_are_told_among_the_findings(line, samples):
    scan = line.put_in_all(109, -100).scan()
    same(scan, samples)
    assert any(said.startswith("The delay of -100, the same in all") for said in scan.findings)
    scan = line.put_in(4, 109, 0).scan()
    assert any("differ between traces" in said for said in scan.findings)


def test_a_delay_is_no_answer_to_what_is_asked(line):
    line.put_in_all(109, 30)
    for byte in (73, 81, 181):
        line.put_in_all(byte, 0, 4)
    assert "delay" not in line.refusal(Given())


def test_angles_are_asked_about(line, samples):
    line.put_in_all(89, 3)
    with pytest.raises(MissingGeometry) as caught:
        line.scan(Given())
    assert caught.value.needs == ("trace_spacing",)
    assert caught.value.message.startswith("The coordinates are angles (degrees, bytes 89)")
    same(line.scan(), samples)


def test_traces_may_be_the_other_way_round_than_the_file_header(line, samples, tmp_path):
    other = "little" if line.order == "big" else "big"
    path = tmp_path / "other.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(TRACES), 50.0, byte_order=other)
    scan = line.body(path.read_bytes()[3600:]).scan(Given())
    same(scan, samples)
    np.testing.assert_array_equal(scan.positions_mm, 5.0 * np.arange(TRACES))


@pytest.mark.parametrize("letters", [b"\x00", b"\xff", b"C 1 ASCII".ljust(80), bytes(range(256))])
def test_any_text_header_will_do(line, samples, letters):
    line.raw[:3200] = (letters * 3200)[:3200]
    same(line.scan(Given(trace_spacing_mm=5.0, dt_ns=0.05)), samples)


# Revisions.


@pytest.mark.parametrize("revision", [0, 1, 3, 0x40])
def test_fields_of_revision_2_are_ignored_before_it(line, samples, revision):
    line.raw[3260:3332] = np.random.default_rng(5).bytes(72)
    line.raw[3506:3532] = np.random.default_rng(6).bytes(26)
    line.put(3501, revision, 1)
    if revision != 1:
        line.put(3505, 7)
    same(line.scan(), samples)


@pytest.mark.parametrize("minor", [0, 1])
@pytest.mark.parametrize("extra", [0, 1, 3])
def test_further_trace_headers_are_skipped_whether_counted_in_two_bytes_or_four(
    line, samples, extra, minor
):
    body = b"".join(trace[:240] + bytes(240 * extra) + trace[240:] for trace in line.traces())
    line.body(body).put(3501, 2, 1).put(3502, minor, 1)
    if minor == 0:
        line.put(3507, extra, 4)
    else:
        line.put(3507, extra, 2).put(3509, 0x0305, 2)  # kind of survey
    same(line.scan(), samples)
    del line.raw[-100:]
    same(line.scan(), samples[:11])


def test_an_absurd_number_of_further_headers_is_not_believed(line, samples):
    same(line.put(3501, 2, 1).put(3507, 2**32 - 1, 4).scan(), samples)


def test_the_extended_count_and_interval_win(line, samples):
    line.put(3501, 2, 1).put(3221, 0).put(3269, SAMPLES, 4).put_in_all(115, 0)
    kind = ">f8" if line.order == "big" else "<f8"
    line.raw[:3200] = b"\x40" * 3200
    line.raw[3272:3280] = np.array(49.8, kind).tobytes()
    scan = line.scan()
    same(scan, samples)
    assert scan.dt_ns == pytest.approx(0.0498)


@pytest.mark.parametrize("value", [np.nan, np.inf, -1.0, 1e300, 5e-324, 0.0])
def test_an_impossible_extended_interval_gives_way(line, value):
    kind = ">f8" if line.order == "big" else "<f8"
    line.raw[3272:3280] = np.array(value, kind).tobytes()
    assert line.put(3501, 2, 1).scan().dt_ns == 0.05


def test_the_first_trace_and_what_follows_the_last_are_where_the_header_says(line, samples):
    traces = bytes(line.raw[3600:])
    line.body(b"\x40" * 4000 + traces + b"\x40" * 6400)
    line.put(3501, 2, 1).put(3521, 7600, 8).put(3529, 2, 4)
    same(line.scan(), samples)
    assert line.ending() == ""
    assert "holds no traces" in line.put(3521, 2**64 - 1, 8).refusal()


def test_blocks_after_the_traces_may_be_announced_and_missing(line, samples):
    same(line.put(3501, 2, 1).put(3529, 1, 4).scan(), samples)


@pytest.mark.parametrize("revision", [1, 2])
def test_extended_text_headers_are_skipped(line, samples, revision):
    traces = bytes(line.raw[3600:])
    line.body(b"\x40" * 6400 + traces).put(3501, revision, 1).put(3505, 2)
    same(line.scan(), samples)
    assert "holds no traces: it says that 1000 more" in line.put(3505, 1000).refusal()


@pytest.mark.parametrize("coding", ["cp037", "ascii"])
@pytest.mark.parametrize("stanza", ["((SEG: EndText))", "((seg:endtext))", "((SEG: ENDTEXT ))"])
def test_a_text_of_unknown_length_ends_with_its_stanza(line, samples, coding, stanza):
    texts = "((SEG: NOTES))".ljust(3200) + f"WORDS {stanza}".ljust(3200)
    traces = bytes(line.raw[3600:])
    line.body(texts.encode(coding) + traces).put(3505, -1)
    same(line.scan(), samples)


def test_a_text_of_unknown_length_that_does_not_end_is_refused(line):
    assert "none of them is marked as the last" in line.put(3505, -1).refusal()


@pytest.mark.parametrize("swapped", ["02010403", "03040102"])
def test_bytes_swapped_in_pairs_are_refused(line, swapped):
    line.raw[3296:3300] = bytes.fromhex(swapped)
    assert "swapped in pairs" in line.put(3501, 2, 1).refusal()
