"""Lengths as typed and as shown."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright import units
from depthwright.errors import DepthwrightError


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("23", 23.0),
        ("23 mm", 23.0),
        ("23mm", 23.0),
        ("2.3 cm", 23.0),
        ("0.9 in", 22.86),
        ("7/8 in", 22.225),
        ('7/8"', 22.225),
        ("1 1/4 in", 31.75),
        ("23,5", 23.5),
        (".5 cm", 5.0),
    ],
)
def test_what_people_type_is_understood(typed, mm):
    assert units.parse_length_mm(typed) == pytest.approx(mm)


def test_a_bare_number_is_in_the_unit_of_the_job():
    assert units.parse_length_mm("0.9", "in") == pytest.approx(22.86)
    assert units.parse_length_mm("23 mm", "in") == pytest.approx(23.0)


@pytest.mark.parametrize(
    "typed", ["", "abc", "23 km", "1/0 in", "--3", "3 4", "1e9 parsecs", "nan"]
)
def test_what_is_no_length_is_refused_with_a_sentence(typed):
    with pytest.raises(DepthwrightError) as refused:
        units.parse_length_mm(typed)
    assert refused.value.message


@pytest.mark.parametrize(
    ("typed", "value", "spread"),
    [
        ("23", 23.0, None),
        ("23 ± 1", 23.0, 1.0),
        ("23+-1 mm", 23.0, 1.0),
        ("23 +/- 1.5", 23.0, 1.5),
        ("0.9 ± 0.04 in", 22.86, 1.016),
        ("2.3 ± 0.1 cm", 23.0, 1.0),
    ],
)
def test_a_reading_may_carry_its_uncertainty(typed, value, spread):
    reading = units.parse_reading(typed)
    assert reading.value_mm == pytest.approx(value)
    assert reading.plus_minus_mm == (None if spread is None else pytest.approx(spread))


@pytest.mark.parametrize("typed", ["23 ± 0", "23 ± 1 ± 2", "23 ±", "± 1"])
def test_a_reading_without_sense_is_refused(typed):
    with pytest.raises(DepthwrightError):
        units.parse_reading(typed)


def test_signed_lengths_and_plain_numbers():
    assert units.parse_signed_length_mm("-30 mm") == -30.0
    assert units.parse_signed_length_mm("−1 in") == -25.4
    assert units.parse_plain("8,1 ± 0.5") == (8.1, 0.5)
    assert units.parse_plain("8.1") == (8.1, None)
    for text in ("", "x", "nan", "1 ± 2 ± 3"):
        with pytest.raises(DepthwrightError):
            units.parse_plain(text)


@given(st.floats(0.1, 5000), st.sampled_from(units.LENGTH_UNITS))
def test_a_length_survives_being_written_and_typed_again(mm, unit):
    shown = units.format_length(mm, unit, decimals=6)
    assert units.parse_length_mm(shown) == pytest.approx(mm, abs=2e-5)


@pytest.mark.parametrize(
    ("value", "expanded", "figures", "shown"),
    [
        (24.34, 2.13, 2, "24.3 ± 2.1"),
        (24.34, 2.13, 1, "24 ± 2"),
        (153.2, 18.7, 2, "153 ± 19"),
        (153.2, 18.7, 1, "153 ± 19"),
        (24.34, 0.26, 2, "24.3 ± 0.3"),
    ],
)
def test_the_value_is_rounded_to_match_its_interval(value, expanded, figures, shown):
    """JCGM 100:2008, 7.2.6; digits stop at 0.1 mm and at whole millimetres."""
    assert units.format_interval(value, expanded, "mm", figures, with_unit=False) == shown


def test_what_is_not_known_is_a_dash():
    assert units.format_interval(float("nan"), 1.0, "mm") == "—"


def test_inches_for_whoever_tapes():
    assert units.nearest_sixteenth(183.0) == "7 3/16\u202fin"
    assert units.nearest_sixteenth(25.4) == "1\u202fin"
    assert units.nearest_sixteenth(0.0) == "0\u202fin"
    assert units.nearest_sixteenth(-25.4 * 1.5) == "−1 1/2\u202fin"
