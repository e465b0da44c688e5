"""What header numbers are taken to mean: time, place, separation; and what is said about it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright.errors import DepthwrightError
from depthwright.files.facts import MissingGeometry, Stated
from depthwright.files.segy import read_segy, segy_facts, write_segy
from depthwright.files.segy_geometry import (
    antenna_separation,
    delays,
    sample_interval,
    trace_positions,
)
from depthwright.files.segy_headers import trace_dtype
from depthwright.job import Given

BOTH = ("bytes 3217", "bytes 117")


def interval(value, samples=512, text="", given_ns=None):
    fields = tuple(Stated(place, float(value)) for place in BOTH)
    return sample_interval(fields, samples, text, given_ns)


def headers(traces=11, scalar=1, **fields):
    made = np.zeros(traces, trace_dtype(">", 5, 4)["header"])
    made["coordinate_scalar"] = scalar
    for name, values in fields.items():
        made[name] = values
    return made


def positions(made, text="", in_feet=False, given_mm=None):
    return trace_positions(made, text, in_feet, given_mm)


@given(window_ns=st.floats(2.05, 59), samples=st.integers(100, 4000))
def test_an_interval_in_picoseconds_is_known_by_its_time_window(window_ns, samples):
    picoseconds = max(1, round(window_ns / samples * 1000))
    dt_ns, fact = interval(picoseconds, samples)
    if 2 <= picoseconds * samples / 1000 <= 60:
        assert dt_ns == picoseconds / 1000
        assert "read as picoseconds" in fact.why
        assert "plausible on concrete" in fact.why
    else:
        assert dt_ns is None


def test_the_unit_of_the_standard_is_known_by_its_time_window_too():
    # Rev 2 has a field for fractions of a microsecond.
    dt_ns, fact = sample_interval(
        (Stated("bytes 3273", 2e-5), Stated("bytes 3217", 0.0)), 512, "", None
    )
    assert dt_ns == pytest.approx(0.02)
    assert "read as microseconds" in fact.why


def test_a_seismic_interval_fits_no_unit_and_is_asked_for():
    dt_ns, fact = interval(4000, samples=1500)
    assert dt_ns is None
    assert "In no unit does the interval of 4000" in fact.why
    assert fact.inferred == ""


def test_a_given_interval_wins():
    dt_ns, fact = interval(20, given_ns=0.0195)
    assert dt_ns == 0.0195
    assert "the one given" in fact.why


@pytest.mark.parametrize("wrong", [0.0, -1.0, np.nan, np.inf])
def test_an_impossible_given_value_is_refused(wrong):
    with pytest.raises(DepthwrightError, match="not possible"):
        interval(20, given_ns=wrong)
    with pytest.raises(DepthwrightError, match="not possible"):
        positions(headers(), given_mm=wrong)


def test_headers_that_disagree_are_told_and_the_binary_header_is_used():
    dt_ns, fact = sample_interval(
        (Stated("bytes 3217", 20.0), Stated("bytes 117", 25.0)), 500, "", None
    )
    assert dt_ns == 0.02
    assert "The headers disagree (20 in bytes 3217, 25 in bytes 117); the one in bytes 3217" in (
        fact.why
    )


def test_an_empty_or_implausible_field_gives_way_to_the_other():
    assert (
        sample_interval((Stated("bytes 3217", 0.0), Stated("bytes 117", 25.0)), 500, "", None)[0]
        == 0.025
    )
    assert (
        sample_interval((Stated("bytes 3217", 4000.0), Stated("bytes 117", 25.0)), 500, "", None)[0]
        == 0.025
    )


@pytest.mark.parametrize(
    ("field", "samples", "exact_ps", "window_ns", "change"),
    [
        (20, 512, "19.53", 10, "2.3 % smaller"),  # 10 ns / 512 = 19.53125 ps
        (39, 512, "39.06", 20, "0.2 % larger"),
        (39, 256, "39.06", 10, "0.2 % larger"),
        (19, 512, "19.53", 10, "2.8 % larger"),  # cut off, not rounded
        (
            23,
            512,
            "23.44",
            12,
            "1.9 % larger",
        ),  # 12 ns: no multiple of 5, but 23 is no round number
        (16, 512, "15.62", 8, "2.3 % smaller"),
    ],
)
def test_an_interval_that_looks_rounded_is_worth_a_word(
    field, samples, exact_ps, window_ns, change
):
    dt_ns, fact = interval(field, samples=samples)
    assert dt_ns == field / 1000
    assert (
        f"It may be rounded from {exact_ps} ps: a time window of {window_ns} ns would make it exact"
        f" and all depths {change}. Give the time window if it is known."
    ) in fact.why


@pytest.mark.parametrize(
    ("field", "samples"),
    [
        (20, 500),  # 10 ns exactly
        (20, 400),  # 8 ns exactly
        (25, 512),  # 12.8 ns: 25 ps is a round number itself
        (13, 1024),  # some whole nanosecond is always near
        (7, 4096),  # some multiple of 5 ns is always near
        (19.6, 512),  # a field that holds fractions has no need to round
    ],
)
def test_an_interval_that_need_not_be_rounded_is_not_doubted(field, samples):
    assert "rounded" not in interval(field, samples=samples)[1].why


def test_the_text_header_may_state_the_interval():
    # A window of 200 ns is not plausible, but the file says what it is.
    text = "C 2 SAMPLE INTERVAL FIELDS ARE IN PICOSECONDS: 99.6 PS"
    dt_ns, fact = interval(100, samples=2000, text=text)
    assert dt_ns == pytest.approx(0.0996)
    assert "as the text header says" in fact.why
    assert interval(20, text="SAMPLE INTERVAL IN PICOSECONDS")[0] == 0.02
    stale = "SAMPLE INTERVAL FIELDS ARE IN PICOSECONDS: 99.6 PS"
    assert interval(20, text=stale)[0] == 0.02  # contradicts the field, so it is not believed


@pytest.mark.parametrize(
    ("step", "scalar", "unit", "spacing_mm"),
    [
        (5, 1, "mm", 5.0),
        (5, 0, "mm", 5.0),
        (25, -10, "mm", 2.5),
        (5, -1000, "m", 5.0),
        (1, -100, "m", 10.0),
        (2, -10, "cm", 2.0),
        (1, 10, "mm", 10.0),
    ],
)
def test_the_unit_of_length_makes_the_trace_spacing_plausible(step, scalar, unit, spacing_mm):
    along, fact = positions(headers(scalar=scalar, source_x=step * np.arange(11)))
    np.testing.assert_allclose(along, spacing_mm * np.arange(11), rtol=1e-12)
    assert f"read in {unit}, a trace spacing of {spacing_mm:g} mm" in fact.why


def test_the_unit_that_would_also_do_is_named():
    assert "in cm it would be 50 mm" in positions(headers(source_x=5 * np.arange(11)))[1].why


def test_feet_are_tried_first_where_the_header_says_feet():
    made = headers(scalar=-1000, source_x=20 * np.arange(11))
    assert positions(made, in_feet=True)[0][1] == pytest.approx(0.02 * 304.8)
    assert positions(made, in_feet=False)[0][1] == pytest.approx(20)


@pytest.mark.parametrize(
    ("line", "spacing_mm"),
    [
        ("X = MIDPOINT POSITION ALONG THE LINE IN MM", 4.0),
        ("COORDINATES ARE IN CENTIMETRES", 40.0),
        ("RECEIVERS AND SHOTS TOLD IN WORDS", 4.0),
        ("COORDINATES ARE IN METRES", 4.0),  # 4 m between traces: not believed
    ],
)
def test_the_text_header_may_state_the_unit_of_length(line, spacing_mm):
    along, _ = positions(headers(source_x=4 * np.arange(11)), text=line)
    assert along[1] == pytest.approx(spacing_mm)


@pytest.mark.parametrize("name", ["source_x", "group_x", "ensemble_x", "source_y", "ensemble_y"])
def test_whichever_coordinate_varies_is_used(name):
    along, fact = positions(headers(**{name: 100 + 5 * np.arange(11)}))
    np.testing.assert_array_equal(along, 100 + 5 * np.arange(11))
    byte = {"source": 73, "group": 81, "ensemble": 181}[name.split("_")[0]]
    assert f"bytes {byte}" in fact.stated


def test_a_line_walked_backwards_keeps_its_coordinates():
    assert positions(headers(source_x=1000 - 5 * np.arange(11)))[0][-1] == 950


def test_where_both_axes_vary_the_distance_walked_counts():
    made = headers(source_x=3 * np.arange(11), source_y=4 * np.arange(11))
    np.testing.assert_allclose(positions(made)[0], 5.0 * np.arange(11))


def test_the_midpoint_lies_midway_between_source_and_group():
    x = 5 * np.arange(11)
    along, fact = positions(headers(source_x=x, group_x=x + 60))
    np.testing.assert_array_equal(along, x + 30)
    assert "midway" in fact.stated


def test_coordinates_that_start_absurdly_far_away_are_counted_from_the_first():
    along, fact = positions(headers(scalar=-1000, source_x=2_000_000_000 + 5 * np.arange(11)))
    np.testing.assert_allclose(along, 5.0 * np.arange(11), atol=1e-6)
    assert "counted from the first trace" in fact.why


def test_a_field_that_turns_back_gives_way_to_one_that_does_not():
    zigzag = 5 * np.arange(11)
    zigzag[6] = 20
    along, _ = positions(headers(source_x=zigzag, ensemble_x=5 * np.arange(11)))
    np.testing.assert_array_equal(along, 5.0 * np.arange(11))
    nowhere, fact = positions(headers(source_x=zigzag))
    assert nowhere is None
    assert "bytes 73 (source) stand still or turn back at trace 7" in fact.why


def test_a_given_trace_spacing_wins():
    along, fact = positions(headers(source_x=5 * np.arange(11)), given_mm=2.5)
    np.testing.assert_array_equal(along, 2.5 * np.arange(11))
    assert "2.5 mm as given" in fact.why


def test_steps_plausible_in_no_unit_are_told():
    along, fact = positions(headers(scalar=100, source_x=5 * np.arange(11)))
    assert along is None
    assert "In no unit are steps of 500" in fact.why


def test_a_single_trace_needs_no_spacing():
    assert positions(headers(traces=1))[0].tolist() == [0.0]


@pytest.mark.parametrize(
    ("units", "words"), [(2, "arc seconds"), (3, "degrees,"), (4, "degrees, minutes")]
)
def test_coordinates_that_are_angles_are_refused_and_the_spacing_asked_for(units, words):
    made = headers(source_x=5 * np.arange(11), coordinate_units=units)
    made["coordinate_units"][3] = 1
    along, fact = positions(made)
    assert (along, fact.inferred) == (None, "")
    assert f"The coordinates are angles ({words}" in fact.why
    np.testing.assert_array_equal(positions(made, given_mm=4.0)[0], 4.0 * np.arange(11))


@pytest.mark.parametrize("units", [0, 1, 99])
def test_other_units_of_coordinates_are_lengths(units):
    made = headers(source_x=5 * np.arange(11), coordinate_units=units)
    made["coordinate_units"][3] = 2  # one header that lies
    np.testing.assert_array_equal(positions(made)[0], 5.0 * np.arange(11))


@pytest.mark.parametrize("name", ["source_x", "group_y", "ensemble_x"])
def test_each_trace_may_have_its_own_scalar(name):
    made = headers(**{name: [0, 5, 100, 150, 2, 25, 3000]}, traces=7)
    made["coordinate_scalar"] = [1, 1, -10, -10, 10, 0, -100]
    np.testing.assert_allclose(positions(made)[0], 5.0 * np.arange(7))


def test_no_delay_is_not_worth_a_word():
    assert delays(np.zeros(5, np.int16)) == ()


def test_a_common_delay_is_told_and_not_applied():
    (fact,) = delays(np.full(5, -100, np.int16))
    assert (fact.stated, fact.inferred) == ("-100 in bytes 109", "not applied")
    assert "the same in all traces" in fact.why
    assert "depths are measured from the direct wave" in fact.why


def test_delays_that_differ_are_told():
    (fact,) = delays(np.array([-100, 0, 3], np.int16))
    assert fact.stated == "-100 to 3 in bytes 109"
    assert "differ between traces" in fact.why
    assert "from each trace's first sample" in fact.why


@pytest.mark.parametrize(
    ("offsets", "separation_mm"),
    [([60, 60], 60.0), ([-60, -60], 60.0), ([0, 0], None), ([60, 65], None), ([2000, 2000], None)],
)
def test_the_separation_is_read_only_where_it_is_plausible(offsets, separation_mm):
    found, fact = antenna_separation(np.array(offsets, np.int32))
    assert found == separation_mm
    assert bool(fact.why) == (separation_mm is not None)


def bare_file(folder, *, interval_ps=20, coordinates=True):
    """A file without a word in its text header, and with what is to be missing zeroed."""
    path = folder / "bare.sgy"
    write_segy(path, np.ones((5, 400), np.float32), 0.02, 5.0 * np.arange(5))
    raw = bytearray(path.read_bytes())
    raw[:3200] = b"\x40" * 3200
    raw[3216:3218] = interval_ps.to_bytes(2, "big")
    for start in range(3600, len(raw), 240 + 1600):
        raw[start + 116 : start + 118] = interval_ps.to_bytes(2, "big")
        if not coordinates:
            for byte in (73, 81, 181):
                raw[start + byte - 1 : start + byte + 3] = bytes(4)
    path.write_bytes(raw)
    return path


@pytest.mark.parametrize(
    ("missing", "needs"),
    [
        ({"coordinates": False}, ("trace_spacing",)),
        ({"interval_ps": 0}, ("sample_interval",)),
        ({"coordinates": False, "interval_ps": 0}, ("trace_spacing", "sample_interval")),
    ],
)
def test_what_the_file_does_not_tell_is_asked_for(tmp_path, missing, needs):
    path = bare_file(tmp_path, **missing)
    with pytest.raises(MissingGeometry) as caught:
        read_segy(path)
    assert caught.value.needs == needs
    assert "The file gives no" in caught.value.message
    answers = {"trace_spacing": ("trace_spacing_mm", 4.0), "sample_interval": ("dt_ns", 0.03)}
    scan = read_segy(path, Given(**dict(answers[need] for need in needs)))
    assert scan.trace_spacing_mm == (4.0 if "trace_spacing" in needs else 5.0)
    assert scan.dt_ns == (0.03 if "sample_interval" in needs else 0.02)


def test_inferences_are_findings_of_the_scan(tmp_path):
    findings = " ".join(read_segy(bare_file(tmp_path)).findings)
    assert "read as picoseconds, a time window of 8 ns" in findings
    assert "a trace spacing of 5 mm" in findings


def test_the_facts_are_told_even_where_something_is_missing(tmp_path):
    facts = {row.label: row for row in segy_facts(bare_file(tmp_path, coordinates=False)).rows}
    assert facts["Byte order"].inferred == "big-endian"
    assert facts["Sample format"].stated == "5"
    assert facts["Size"].inferred == "5 traces of 400 samples"
    assert facts["Sample interval"].stated == "20 in bytes 3217, 20 in bytes 117"
    assert facts["Positions"].inferred == ""
