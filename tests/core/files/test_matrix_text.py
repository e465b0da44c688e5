"""A line exported as text opens with the same samples and geometry, however the text is written."""

import hashlib
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from depthwright.errors import DepthwrightError
from depthwright.files.facts import MissingGeometry
from depthwright.files.readers import file_facts, open_file
from depthwright.job import NOTHING_GIVEN, Given

TRACES, SAMPLES = 12, 40
DT_NS, SPACING_MM = 0.125, 5.0
TOLD = Given(dt_ns=DT_NS, trace_spacing_mm=SPACING_MM)


def a_line(seed=0):
    """A direct wave in every trace and some noise, to four digits, shape (traces, samples)."""
    late = (np.arange(SAMPLES) - 10) / 3
    pulse = (1 - 2 * late**2) * np.exp(-(late**2))
    noise = np.random.default_rng(seed).normal(scale=0.05, size=(TRACES, SAMPLES))
    return np.round(pulse + noise, 4)


def fact(path, label, told=NOTHING_GIVEN):
    return next(row for row in file_facts(path, told).rows if row.label == label)


def refusal(path, told=NOTHING_GIVEN):
    with pytest.raises(DepthwrightError) as caught:
        open_file(path, told)
    assert caught.value.hint.endswith(".")
    return caught.value.message


def written(tmp_path, text, encoding="utf-8", name="line.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def rows_of(matrix, delimiter=","):
    return "".join(delimiter.join(f"{value:g}" for value in row) + "\n" for row in matrix)


@dataclass(frozen=True)
class Way:
    """One way to write a line as text."""

    delimiter: str
    decimal: str
    header: str
    axes: str
    traces_in: str
    encoding: str
    trailing: bool
    comment: str
    ending: str


WAYS = st.builds(
    Way,
    delimiter=st.sampled_from([",", ";", "\t", " ", "   ", " ; "]),
    decimal=st.sampled_from([".", ","]),
    header=st.sampled_from(["words", "numbers", "none"]),
    axes=st.sampled_from(["both", "down", "none"]),
    traces_in=st.sampled_from(["rows", "columns"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    trailing=st.booleans(),
    comment=st.sampled_from(["", "# Länge übers Deck\n", "% drawn\n\n\n"]),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
).filter(lambda way: not (way.delimiter == "," and way.decimal == ","))


def text_of(way, line):
    """The line written that way; axes as in ``axes`` with header words or without."""
    times, places = DT_NS * np.arange(SAMPLES), SPACING_MM * np.arange(TRACES)
    matrix, beside, above = line, places, times
    corner = "position_mm"
    if way.traces_in == "columns":
        matrix, beside, above, corner = line.T, times, places, "time_ns"
    body = [[f"{value:.6g}" for value in row] for row in matrix]
    if way.axes != "none":
        body = [[f"{at:g}", *row] for at, row in zip(beside, body, strict=True)]
    has_words = way.header != "none" and way.axes != "none"
    if way.axes == "both":
        body.insert(0, [corner if has_words else "0", *(f"{at:g}" for at in above)])
    elif has_words:
        body.insert(0, [corner, *(f"no{at}" for at in range(matrix.shape[1]))])
    end = way.delimiter.strip(" ") if way.trailing else ""
    lines = [
        way.delimiter.join(row if "_" in row[0] and way.decimal == "," and way.axes != "both"
                           else [cell.replace(".", way.decimal) for cell in row]) + end
        for row in body
    ]  # fmt: skip
    return (way.comment + "\n".join(lines) + "\n\n").replace("\n", way.ending)


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(way=WAYS, seed=st.integers(0, 20))
def test_however_it_is_written_samples_and_geometry_are_the_same(tmp_path, way, seed):
    line = a_line(seed)
    path = tmp_path / "line.txt"
    path.write_bytes(text_of(way, line).encode(way.encoding))
    needs = file_facts(path).needs
    assert ("sample_interval" in needs) == (
        way.axes == "none" or (way.axes == "down" and way.traces_in == "rows")
    )
    assert ("trace_spacing" in needs) == (
        way.axes == "none" or (way.axes == "down" and way.traces_in == "columns")
    )
    told = Given(
        dt_ns=DT_NS if "sample_interval" in needs else None,
        trace_spacing_mm=SPACING_MM if "trace_spacing" in needs else None,
    )
    scan = open_file(path, told)
    np.testing.assert_array_equal(scan.block(0, TRACES), line.astype(np.float32))
    assert scan.dt_ns == pytest.approx(DT_NS)
    np.testing.assert_allclose(scan.positions_mm, SPACING_MM * np.arange(TRACES))


@pytest.mark.parametrize(
    ("header", "factor_mm"),
    [
        ("position (mm)", 1.0), ("x_cm", 10.0), ("Distance [m]", 1000.0), ("x in", 25.4),
        ("distance in mm", 1.0), ("pos/mm", 1.0), ("(cm)", 10.0), ("Distance (inches)", 25.4),
        ("position, ft", 304.8),
    ],
)  # fmt: skip
def test_a_header_names_positions_and_their_unit(tmp_path, header, factor_mm):
    beside = np.array([0.0, 3.0, 5.0, 11.0])  # not even, so only the header tells
    text = header + ";a" * SAMPLES + "\n" + rows_of(np.column_stack([beside, a_line()[:4]]), ";")
    path = written(tmp_path, text)
    scan = open_file(path, Given(dt_ns=DT_NS))
    np.testing.assert_allclose(scan.positions_mm, factor_mm * beside)
    orientation = fact(path, "Orientation")
    assert orientation.why == (
        "Traces are rows: the first column holds positions as its header says."
    )
    assert orientation.settled
    assert fact(path, "Positions").settled


@pytest.mark.parametrize(
    ("header", "factor_ns"),
    [
        ("time (ns)", 1.0),
        ("t_ps", 1e-3),
        ("Time [µs]", 1e3),
        ("t/s", 1e9),
        ("two-way time, ns", 1.0),
    ],
)
def test_a_header_names_times_and_their_unit(tmp_path, header, factor_ns):
    times = DT_NS * np.arange(SAMPLES) / factor_ns
    text = header + ";a" * TRACES + "\n" + rows_of(np.column_stack([times, a_line().T]), ";")
    path = written(tmp_path, text)
    scan = open_file(path, Given(trace_spacing_mm=SPACING_MM))
    assert scan.dt_ns == pytest.approx(DT_NS, rel=1e-5)
    np.testing.assert_array_equal(scan.block(0, TRACES), a_line().astype(np.float32))
    assert fact(path, "Sample interval").settled


def test_an_axis_without_a_word_is_read_in_the_plausible_unit(tmp_path):
    line = a_line()
    matrix = np.column_stack([0.005 * np.arange(TRACES), line])
    path = written(tmp_path, rows_of(matrix))
    positions = fact(path, "Positions")
    assert positions.inferred == "0 to 55 mm"
    assert positions.why.startswith("Coordinates are read in m, a trace spacing of 5 mm")
    assert not positions.settled
    np.testing.assert_array_equal(
        open_file(path, Given(dt_ns=0.1)).block(0, TRACES), line.astype(np.float32)
    )


def test_samples_that_rise_evenly_everywhere_are_no_axis(tmp_path):
    ramp = np.arange(60.0).reshape(6, 10)
    path = written(tmp_path, rows_of(ramp))
    scan = open_file(path, TOLD.model_copy(update={"traces_in": "rows"}))
    np.testing.assert_array_equal(scan.block(0, 6), ramp)


def test_columns_that_only_count_are_left_out(tmp_path):
    line = a_line()
    text = "trace;x_mm" + ";a" * SAMPLES + "\n"
    beside = np.column_stack([np.arange(1, TRACES + 1), SPACING_MM * np.arange(TRACES), line])
    scan = open_file(written(tmp_path, text + rows_of(beside, ";")), Given(dt_ns=DT_NS))
    np.testing.assert_array_equal(scan.block(0, TRACES), line.astype(np.float32))
    assert scan.trace_spacing_mm == SPACING_MM
    counted = written(tmp_path, rows_of(np.column_stack([np.arange(TRACES), line])))
    assert file_facts(counted).needs == ("trace_spacing", "sample_interval")


def test_the_corner_may_name_the_row_instead_of_the_column(tmp_path):
    """Times beside the rows cannot be positions of 0.125 mm each in inches; those above can."""
    line = a_line()
    head = "x_mm;" + ";".join(f"{5 * at}" for at in range(TRACES)) + "\n"
    times = 0.02 * np.arange(SAMPLES * 4)
    matrix = np.column_stack([times, np.tile(line.T, (4, 1))])
    scan = open_file(written(tmp_path, head + rows_of(matrix, ";")))
    assert (scan.traces, scan.samples) == (TRACES, 4 * SAMPLES)
    assert scan.dt_ns == pytest.approx(0.02)
    assert scan.trace_spacing_mm == SPACING_MM


def test_numbers_above_may_come_without_a_corner_and_with_a_line_of_their_own(tmp_path):
    line = a_line()
    head = "Position (cm)\n" + ";".join(f"{0.5 * at}" for at in range(TRACES)) + "\n"
    matrix = np.column_stack([DT_NS * np.arange(SAMPLES), line.T])
    path = written(tmp_path, head + rows_of(matrix, ";"))
    scan = open_file(path)
    np.testing.assert_allclose(scan.positions_mm, 5.0 * np.arange(TRACES))
    np.testing.assert_array_equal(scan.block(0, TRACES), line.astype(np.float32))
    assert fact(path, "Orientation").why.endswith(
        "the first row holds positions as its header says."
    )


def test_headers_may_number_the_columns_with_a_unit(tmp_path):
    line = a_line()
    head = "".join(f"{5 * at} mm\t" for at in range(TRACES)) + "\n"
    scan = open_file(written(tmp_path, head + rows_of(line.T, "\t")), Given(dt_ns=DT_NS))
    np.testing.assert_allclose(scan.positions_mm, 5.0 * np.arange(TRACES))


def test_numbers_stated_before_the_samples_are_heard(tmp_path):
    head = "Deck, bay 3\n# dt = 125 ps\nTrace spacing (mm); 5\n"
    path = written(tmp_path, head + rows_of(a_line(), ";"))
    scan = open_file(path)
    assert scan.dt_ns == pytest.approx(DT_NS)
    assert scan.trace_spacing_mm == SPACING_MM
    assert fact(path, "Sample interval").stated == "125 ps in line 2"
    assert file_facts(path).text == head


def test_what_is_given_wins_over_the_axes(tmp_path):
    path = written(
        tmp_path, text_of(Way(";", ".", "words", "both", "rows", "", False, "", "\n"), a_line())
    )
    scan = open_file(path, Given(dt_ns=0.1, trace_spacing_mm=7.0))
    assert scan.dt_ns == 0.1
    assert scan.trace_spacing_mm == 7.0
    assert scan.findings[-2:] == (
        "The sample interval of 0.1 ns is the one given, not the file's.",
        "Positions are counted from the trace spacing of 7 mm as given.",
    )


def test_how_traces_lie_is_told_by_the_wave_that_all_share(tmp_path, plain_line):
    samples = plain_line.scan.block(0, plain_line.scan.traces)
    for matrix, traces_in, other in ((samples, "rows", "columns"), (samples.T, "columns", "rows")):
        path = written(tmp_path, rows_of(matrix))
        orientation = fact(path, "Orientation")
        assert orientation.inferred == f"traces are {traces_in}"
        assert orientation.why == (
            f"Traces are taken as {traces_in}: the direct wave, which all of them share, then holds"
            f" 79% of the energy; taken as {other} they would share 0%."
        )
        assert not orientation.settled
        assert file_facts(path).traces_in == traces_in
        turned = open_file(path, TOLD.model_copy(update={"traces_in": other}))
        assert (turned.traces, turned.samples) == samples.shape[::-1]


def test_samples_that_do_not_tell_how_they_lie_are_said_to_be_open(tmp_path):
    noise = np.random.default_rng(3).normal(size=(30, 30))
    orientation = fact(written(tmp_path, rows_of(noise)), "Orientation")
    assert orientation.why.startswith("The samples do not tell whether rows or columns are traces")
    assert not orientation.settled


def test_a_single_column_is_a_trace(tmp_path):
    path = written(
        tmp_path, "t (ns);amplitude\n" + "".join(f"{0.1 * k:g};{k % 7}\n" for k in range(50))
    )
    scan = open_file(path)
    assert (scan.traces, scan.samples, scan.dt_ns) == (1, 50, pytest.approx(0.1))
    np.testing.assert_array_equal(scan.block(0, 1)[0], np.arange(50) % 7)


def test_times_that_are_not_even_are_asked_for(tmp_path):
    times = DT_NS * np.arange(SAMPLES)
    times[20:] += DT_NS
    text = (
        "time_ns;"
        + ";".join(["a"] * TRACES)
        + "\n"
        + rows_of(np.column_stack([times, a_line().T]), ";")
    )
    with pytest.raises(MissingGeometry) as caught:
        open_file(written(tmp_path, text), Given(trace_spacing_mm=5.0))
    assert caught.value.needs == ("sample_interval",)
    assert caught.value.message == (
        "The times in the first column are not even: after sample 20 they step by 0.25 instead of 0.125."
    )


def test_times_that_were_rounded_are_even(tmp_path):
    times = np.round(0.0195 * np.arange(512), 2)
    text = "time_ns;" + ";".join(["a"] * 3) + "\n"
    noise = np.random.default_rng(1).normal(size=(512, 3))
    path = written(tmp_path, text + rows_of(np.column_stack([times, noise]), ";"))
    assert open_file(path, Given(trace_spacing_mm=5)).dt_ns == pytest.approx(0.0195, rel=1e-3)


def test_positions_that_turn_back_are_asked_for(tmp_path):
    beside = np.array([0.0, 5, 10, 9, 20, 25])
    text = "x_mm" + ";a" * SAMPLES + "\n" + rows_of(np.column_stack([beside, a_line()[:6]]), ";")
    with pytest.raises(MissingGeometry) as caught:
        open_file(written(tmp_path, text), Given(dt_ns=0.1))
    assert caught.value.needs == ("trace_spacing",)
    assert caught.value.message == (
        "The positions in the first column stand still or turn back at trace 4."
    )
    assert caught.value.hint == "Give the trace spacing in mm."


REFUSED = {
    "": "line.csv is empty.",
    "7\n": "line.csv holds a single number.",
    "hello\nworld\n": "line.csv has no line of numbers.",
    "1,2,3\n4,5\n6,7,8\n": "Line 2 of line.csv holds 2 numbers, where others hold 3.",
    "1,2,3\n4,5\n6,7\n": "Line 1 of line.csv holds 3 numbers, where others hold 2.",
    "# made\n\n1,2,3\n4,x y,5\n6,7,8\n": "Line 4 of line.csv holds “x y”, which is no number.",
    "1,2,3\n4,,5\n6,7,8\n": "Line 2 of line.csv holds an empty cell.",
    "1;2,5\n3;4.5\n5;6,5\n": "Line 2 of line.csv holds “4.5”, which is no number.",
    "1;2\n3;4_0\n5;6\n": "Line 2 of line.csv holds “4_0”, which is no number.",
    '"1,5","2,5"\n"3,5","4,5"\n': "Line 1 of line.csv has quotes that hold more than one number.",
    "x,t,a\n0,0,1\n0,1,2\n1,0,3\n": (
        "line.csv is a list of points, each with its position, time and amplitude."
    ),
}  # fmt: skip


@pytest.mark.parametrize("text", REFUSED)
def test_what_is_no_matrix_ends_in_a_sentence_that_names_the_line(tmp_path, text):
    assert refusal(written(tmp_path, text), TOLD) == REFUSED[text]


def test_a_fault_far_down_is_named_by_its_line(tmp_path, monkeypatch):
    monkeypatch.setattr("depthwright.files.text_matrix._PIECE_CHARACTERS", 5000)
    lines = ["1,2,3"] * 9000
    lines[7654] = "1,oops,3"
    path = written(tmp_path, "\n".join(lines))
    assert refusal(path, TOLD) == "Line 7655 of line.csv holds “oops”, which is no number."
    lines[7654] = "1,2"
    path = written(tmp_path, "\n".join(lines))
    assert refusal(path, TOLD) == "Line 7655 of line.csv holds 2 numbers, where others hold 3."


def test_a_text_or_matrix_that_is_too_large_is_refused(tmp_path, monkeypatch):
    path = written(tmp_path, rows_of(a_line()))
    monkeypatch.setattr("depthwright.files.matrix.MOST_BYTES", 1000)
    assert "more than the" in refusal(path, TOLD)
    monkeypatch.setattr("depthwright.files.text_matrix.MOST_TEXT_BYTES", 1000)
    assert "line.csv is a text of" in refusal(path, TOLD)


def test_numbers_that_are_not_finite_or_dead_are_told_by_the_check(tmp_path):
    line = a_line()
    line[3] = 0.0
    line[5, 7] = np.nan
    line[6, 7] = np.inf
    scan = open_file(written(tmp_path, rows_of(line)), TOLD).check()
    assert scan.findings[-1] == (
        "1 of 12 traces hold only zeros. 2 samples are not finite numbers and are read as zero."
    )


def test_the_check_hashes_the_file_and_leaves_it_as_it_was(tmp_path):
    path = written(tmp_path, rows_of(a_line()))
    before, status = path.read_bytes(), path.stat()
    scan = open_file(path, TOLD).check()
    assert scan.sha256 == hashlib.sha256(before).hexdigest()
    assert scan.size_bytes == len(before)
    assert scan.source == str(path)
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == status.st_mtime_ns


def test_a_file_that_changes_after_it_was_opened_is_not_checked(tmp_path):
    path = written(tmp_path, rows_of(a_line()))
    scan = open_file(path, TOLD)
    path.write_text(rows_of(2 * a_line()))
    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.check()


@pytest.mark.parametrize("label", ["T%d", "t%d", "x%d", "No. %d", "Trace %d", "s_%d"])
@pytest.mark.parametrize("first", [0, 1])
def test_running_numbers_over_the_columns_are_labels_and_no_axis(tmp_path, label, first):
    samples = np.random.default_rng(3).normal(size=(40, 12))
    path = tmp_path / "line.csv"
    header = ",".join(label % at for at in range(first, first + 12))
    np.savetxt(path, samples, delimiter=",", header=header, comments="")
    facts = file_facts(path, Given(traces_in="columns"))
    sizes = {fact.label: fact.inferred for fact in facts.rows}
    assert sizes["Size"] == "12 traces of 40 samples"
    assert facts.needs == ("trace_spacing", "sample_interval")
