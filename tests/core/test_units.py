"""Lengths as people type and read them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright import units
from depthwright.errors import DepthwrightError
from depthwright.units import LENGTH_UNITS, MM_PER_UNIT, LengthUnit, Reading

MM = "\u202fmm"
IN = "\u202fin"

anywhere = st.sampled_from(LENGTH_UNITS)


@pytest.mark.parametrize(
    ("typed", "expected_mm"),
    [
        ("23", 23.0),
        ("  23  ", 23.0),
        ("23 mm", 23.0),
        ("23mm", 23.0),
        ("23 MM", 23.0),
        ("23,5", 23.5),
        (",5", 0.5),
        ("23.", 23.0),
        ("2.3 cm", 23.0),
        ("0.9 in", 22.86),
        ('0.9"', 22.86),
        ("1 inch", 25.4),
        ("2 inches", 50.8),
        ("7/8 in", 22.225),
        ("1 1/4 in", 31.75),
        ("1 1/4″", 31.75),
    ],
)
def test_a_typed_length_is_understood(typed: str, expected_mm: float) -> None:
    assert units.parse_length_mm(typed) == pytest.approx(expected_mm, rel=1e-15)


def test_the_inch_is_25_4_mm_exactly() -> None:
    # International yard and pound agreement of 1959, from memory.
    assert units.parse_length_mm("1 in") == 25.4


@pytest.mark.parametrize(("unit", "expected_mm"), [("mm", 2.5), ("cm", 25.0), ("in", 63.5)])
def test_a_bare_number_is_in_the_unit_in_use(unit: LengthUnit, expected_mm: float) -> None:
    assert units.parse_length_mm("2.5", unit) == expected_mm


def test_a_typed_unit_wins_over_the_unit_in_use() -> None:
    assert units.parse_length_mm("23 mm", "in") == 23.0


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        "abc",
        "23 m",
        "23 ft",
        "1e3",
        "-5",
        "1.234,5",
        "1/0 in",
        "23 24",
        "1/2/3",
        "9" * 400,
    ],
)
def test_what_is_no_length_is_refused_with_an_example(typed: str) -> None:
    with pytest.raises(DepthwrightError) as refusal:
        units.parse_length_mm(typed)
    assert "Type it like" in refusal.value.hint
    assert len(refusal.value.message) < 60


@pytest.mark.parametrize("typed", ["-30", "−30 mm", " - 3 cm"])
def test_a_position_may_lie_on_the_other_side_of_the_datum(typed: str) -> None:
    assert units.parse_signed_length_mm(typed) == -30.0


def test_a_position_without_a_sign_is_positive() -> None:
    assert units.parse_signed_length_mm("30 mm") == 30.0


@pytest.mark.parametrize("typed", ["--3", "- ", "3-"])
def test_a_sign_in_the_wrong_place_is_refused(typed: str) -> None:
    with pytest.raises(DepthwrightError):
        units.parse_signed_length_mm(typed)


@pytest.mark.parametrize(
    ("typed", "value_mm", "plus_minus_mm"),
    [
        ("23", 23.0, None),
        ("23 ± 1", 23.0, 1.0),
        ("23±1", 23.0, 1.0),
        ("23 +/- 1 mm", 23.0, 1.0),
        ("23 +- 1", 23.0, 1.0),
        ("23 mm ± 1 mm", 23.0, 1.0),
        ("2,3 cm ± 0,1", 23.0, 1.0),
        ("0.9 ± 0.04 in", 22.86, 1.016),
        ("7/8 in ± 1/16 in", 22.225, 1.5875),
        ("0.9 in ± 1 mm", 22.86, 1.0),
    ],
)
def test_a_reading_may_carry_its_uncertainty(
    typed: str, value_mm: float, plus_minus_mm: float | None
) -> None:
    reading = units.parse_reading(typed)
    assert reading.value_mm == pytest.approx(value_mm, rel=1e-15)
    assert reading.plus_minus_mm == (
        None if plus_minus_mm is None else pytest.approx(plus_minus_mm, rel=1e-15)
    )


@pytest.mark.parametrize("typed", ["23 mm ± 1", "23 ± 1 mm"])
def test_a_unit_typed_once_holds_for_both_numbers(typed: str) -> None:
    """Also where the screen is in inches: nobody means 23 mm give or take an inch."""
    assert units.parse_reading(typed, "in") == Reading(23.0, 1.0)


@pytest.mark.parametrize("typed", ["23 ± 0", "23 ±", "± 1", "23 ± 1 ± 2", "23 ± -1", "a ± b"])
def test_what_is_no_reading_is_refused(typed: str) -> None:
    with pytest.raises(DepthwrightError):
        units.parse_reading(typed)


@pytest.mark.parametrize(
    ("typed", "expected"),
    [("8.1", (8.1, None)), ("8,1", (8.1, None)), ("8.1 ± 0.5", (8.1, 0.5)), ("8 +/- ,5", (8, 0.5))],
)
def test_a_permittivity_is_a_number_without_a_unit(
    typed: str, expected: tuple[float, float | None]
) -> None:
    assert units.parse_plain(typed) == expected


@pytest.mark.parametrize("typed", ["", "8 mm", "nan", "inf", "8 ± inf", "8 ± 0", "8 ± -1", "1±2±3"])
def test_what_is_no_plain_number_is_refused(typed: str) -> None:
    with pytest.raises(DepthwrightError):
        units.parse_plain(typed)


@given(st.integers(-10_000, 10_000), anywhere)
def test_a_written_length_is_read_back(tenths: int, unit: LengthUnit) -> None:
    value_mm = tenths / 10
    back_mm = units.parse_signed_length_mm(units.format_length(value_mm, unit, decimals=4), "mm")
    assert back_mm == pytest.approx(value_mm, abs=0.5e-4 * MM_PER_UNIT[unit] + 1e-9)


@given(
    st.floats(0.1, 5000.0),
    st.floats(0.05, 500.0),
    st.sampled_from([1, 2]),
    anywhere,
)
def test_a_written_interval_is_read_back_within_its_last_digit(
    value_mm: float, expanded_mm: float, figures: int, unit: LengthUnit
) -> None:
    """What is lost is at most half of the last digit shown, and never more than 6 % of U.

    The exceptions are the two stops: half of 0.1 mm (0.01 cm, 0.01 in) below, half a unit above.
    """
    shown = units.format_interval(value_mm, expanded_mm, unit, figures)
    stop_mm = {"mm": 0.05, "cm": 0.05, "in": 0.127}[unit]
    lost_mm = max(stop_mm, 0.06 * expanded_mm if figures == 2 else 0.51 * expanded_mm)
    value_text, spread_text = shown.split(" ± ")
    assert units.parse_length_mm(value_text, unit) == pytest.approx(value_mm, abs=lost_mm * 1.001)
    spread_mm = units.parse_length_mm(spread_text, unit)
    assert spread_mm == pytest.approx(expanded_mm, abs=lost_mm * 1.001)


@pytest.mark.parametrize(
    ("value_mm", "expanded_mm", "figures", "expected"),
    [
        # JCGM 100:2008, 7.2.6: at most two significant digits of the uncertainty, and the value
        # rounded to be consistent with it.
        (24.34, 2.13, 2, "24.3 ± 2.1"),
        (24.34, 2.13, 1, "24 ± 2"),
        (153.2, 18.7, 2, "153 ± 19"),
        (153.2, 0.3, 1, "153.2 ± 0.3"),
        # Rounding up must not smuggle a third digit in: 9.96 is 10, not 10.0.
        (24.34, 9.96, 2, "24 ± 10"),
        (24.34, 0.996, 1, "24 ± 1"),
        (24.34, 9.94, 2, "24.3 ± 9.9"),
        # Nobody tapes a hundredth of a millimetre, and whole units stay whole.
        (24.346, 0.31, 2, "24.3 ± 0.3"),
        (153.2, 352.0, 2, "153 ± 352"),
    ],
)
def test_an_interval_is_rounded_as_the_guide_says(
    value_mm: float, expanded_mm: float, figures: int, expected: str
) -> None:
    assert units.format_interval(value_mm, expanded_mm, "mm", figures) == expected + MM
    assert units.format_interval(value_mm, expanded_mm, "mm", figures, with_unit=False) == expected


def test_an_uncertainty_is_rounded_to_the_nearest_not_up() -> None:
    # JCGM 100:2008, 7.2.6 leaves rounding up to judgement (10.47 there may become 11, from memory).
    assert units.format_interval(100.2, 10.47, "mm") == "100 ± 10" + MM


def test_an_interval_in_inches_stops_at_hundredths() -> None:
    assert units.format_interval(24.34, 2.13, "in") == "0.96 ± 0.08" + IN


def test_a_depth_that_could_not_be_had_is_a_dash() -> None:
    assert units.format_interval(float("nan"), 1.0, "mm") == "—"


def test_zero_carries_no_sign() -> None:
    assert units.format_length(-0.2, "mm") == "0" + MM
    assert units.format_interval(-0.02, 0.3, "mm", 1) == "0.0 ± 0.3" + MM


def test_a_negative_length_carries_a_true_minus() -> None:
    assert units.format_length(-30, "mm") == "−30" + MM


def test_a_permittivity_is_written_with_its_uncertainty() -> None:
    assert units.format_plain(8.107, 0.412) == "8.11 ± 0.41"
    assert units.format_plain(8.107, 1.52) == "8.1 ± 1.5"


@pytest.mark.parametrize(
    ("inches", "expected"),
    [
        (7.2, "7 3/16"),
        (0.5, "1/2"),
        (0.97, "1"),
        (0.0, "0"),
        (0.02, "0"),
        (-7.2, "−7 3/16"),
        (2 + 15 / 16 + 0.02, "2 15/16"),
    ],
)
def test_inches_for_the_tape_go_to_the_nearest_sixteenth(inches: float, expected: str) -> None:
    assert units.nearest_sixteenth(inches * 25.4) == expected + IN


@given(st.floats(0.0, 5000.0))
def test_the_tape_reading_is_within_half_a_sixteenth(value_mm: float) -> None:
    back_mm = units.parse_length_mm(units.nearest_sixteenth(value_mm))
    assert abs(back_mm - value_mm) <= 25.4 / 32 + 1e-9
