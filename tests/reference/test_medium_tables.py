"""Wavelength, Fresnel zone, reflection and loss against tables computed apart from this project.

Sources: lambda = v / f with c = 0.299792458 m/ns (SI); first Fresnel zone, Sheriff and Geldart,
*Exploration Seismology* (from memory); Fresnel's reflection at normal incidence; plane waves in a lossy
medium, Balanis, *Advanced Engineering Electromagnetics*, sec. 4.3 (from memory), with
eps0 = 8.8541878128e-12 F/m and mu0 = 4 pi 1e-7 H/m. The numbers were computed with numpy from those
formulas, apart from this project, to the digits printed.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright import medium, wave
from depthwright.errors import DepthwrightError

permittivities = st.floats(1.0, 81.0)
conductivities = st.floats(0.0, 1.0)
frequencies = st.floats(0.1, 6.0)


@pytest.mark.parametrize(
    ("permittivity", "frequency_ghz", "length", "quarter", "zone_50", "zone_100", "thin_50"),
    [
        (6.25, 1.0, 119.92, 29.98, 62.4, 83.0, 54.8),
        (6.25, 1.5, 79.94, 19.99, 49.0, 66.3, 44.7),
        (6.25, 1.6, 74.95, 18.74, 47.2, 64.0, 43.3),
        (6.25, 2.0, 59.96, 14.99, 41.5, 56.8, 38.7),
        (6.25, 2.6, 46.12, 11.53, 35.9, 49.4, 34.0),
        (9, 1.5, 66.62, 16.66, 44.1, 60.1, 40.8),
        (9, 2.0, 49.97, 12.49, 37.5, 51.5, 35.3),
    ],
)
def test_wavelength_and_fresnel_zone(
    permittivity, frequency_ghz, length, quarter, zone_50, zone_100, thin_50
):
    wavelength = medium.wavelength_mm(permittivity, frequency_ghz)
    assert wavelength == pytest.approx(length, abs=0.0051)
    assert wavelength / 4 == pytest.approx(quarter, abs=0.0051)
    zones = medium.fresnel_radius_mm([50, 100], permittivity, frequency_ghz)
    assert zones == pytest.approx([zone_50, zone_100], abs=0.051)
    # Without its second term the zone is sqrt(lambda d / 2).
    assert np.sqrt(zones[0] ** 2 - wavelength**2 / 16) == pytest.approx(thin_50, abs=0.051)


@given(st.floats(0.0, 1000.0), permittivities, frequencies)
def test_the_edge_of_the_zone_is_half_a_wavelength_late_there_and_back(depth, eps, frequency):
    """By the travel time of a point beside the antenna, s = 0: Pythagoras."""
    radius = medium.fresnel_radius_mm(depth, eps, frequency)
    late_ns = wave.bar_time(radius, depth, 0.0, eps, 0.0).time_ns
    late_ns = late_ns - wave.travel_time(depth, eps, 0.0).time_ns
    assert late_ns * frequency == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize(
    ("before", "beyond", "expected"),
    [
        (6.25, 1, 0.428571),
        (9, 1, 0.5),
        (5, 1, 0.381966),
        (6.25, math.inf, -1),
        (1, math.inf, -1),
        (6.25, 16, -0.230769),
        (6.25, 9, -0.090909),
        (6.25, 4, 0.111111),
        (6.25, 81, -0.565217),
        (1, 6.25, -0.428571),
        (7, 7, 0),
    ],
)
def test_reflection_straight_onto_a_boundary(before, beyond, expected):
    assert medium.reflection(before, beyond) == pytest.approx(expected, abs=5.1e-7)


@pytest.mark.parametrize(
    ("permittivity", "conductivity", "frequency_ghz", "loss", "low_loss", "velocity"),
    [
        (6.25, 0.001, 2.0, 0.6544, 0.6544, 0.119917),
        (6.25, 0.02, 2.0, 13.0876, 13.0890, 0.119905),
        (9, 0.05, 1.5, 27.2536, 27.2686, 0.099876),
        # Concrete of Recommendation ITU-R P.2040 (coefficients from secondary copies), at 2 GHz:
        # editions 2 to 4, conductivity 0.07945 S/m, then edition 1, 0.05713 S/m.
        (5.24, 0.0462 * 2**0.7822, 2.0, 56.657, 56.788, 0.130663),
        (5.31, 0.0326 * 2**0.8095, 2.0, 40.519, 40.567, 0.129947),
    ],
)
def test_loss_and_velocity(permittivity, conductivity, frequency_ghz, loss, low_loss, velocity):
    arguments = (permittivity, conductivity, frequency_ghz)
    last_digit = 1e-4 if loss < 30 else 1e-3
    exact = medium.attenuation_db_per_m(*arguments)
    assert exact == pytest.approx(loss, abs=0.51 * last_digit)
    speed = medium.phase_velocity_mm_per_ns(*arguments)
    assert speed / 1000 == pytest.approx(velocity, abs=5.1e-7)
    # At high frequency the loss becomes (sigma / 2) sqrt(mu / eps), that of every frequency.
    limit = medium.attenuation_db_per_m(permittivity, conductivity, 1e4)
    assert limit == pytest.approx(low_loss, abs=0.51 * last_digit)


@given(permittivities, conductivities, frequencies)
def test_loss_and_velocity_by_the_closed_forms(eps, sigma, frequency_ghz):
    """omega sqrt(mu eps / 2) sqrt(sqrt(1 + tan^2) -+ 1), in SI units from end to end."""
    omega, mu, epsilon = 2 * np.pi * frequency_ghz * 1e9, 4e-7 * np.pi, 8.8541878128e-12 * eps
    tangent = sigma / (omega * epsilon)
    root, common = np.sqrt(1 + tangent**2), omega * np.sqrt(mu * epsilon / 2)
    alpha, beta = common * np.sqrt(root - 1), common * np.sqrt(root + 1)
    # The closed form of the loss cancels where it is small.
    loss = medium.attenuation_db_per_m(eps, sigma, frequency_ghz)
    assert loss == pytest.approx(20 * np.log10(np.e) * alpha, rel=1e-6, abs=1e-4)
    velocity = medium.phase_velocity_mm_per_ns(eps, sigma, frequency_ghz)
    assert velocity == pytest.approx(omega / beta * 1e-6, rel=1e-8)


@given(permittivities, frequencies)
def test_without_conductivity_a_medium_is_that_of_the_travel_times(eps, frequency):
    velocity = wave.velocity_mm_per_ns(eps)
    assert medium.phase_velocity_mm_per_ns(eps, 0.0, frequency) == pytest.approx(velocity)
    assert medium.wavelength_mm(eps, frequency) * frequency == pytest.approx(velocity)
    assert medium.attenuation_db_per_m(eps, 0.0, frequency) == 0.0


def test_inputs_broadcast_and_the_unknown_stays_unknown():
    lengths = medium.wavelength_mm(np.array([[4.0], [9.0]]), [1.0, 2.0])
    assert lengths == pytest.approx(299.792458 / np.array([[2.0, 4.0], [3.0, 6.0]]))
    zones = medium.fresnel_radius_mm([math.nan, 50], 6.25, 2.0)
    assert list(np.isnan(zones)) == [True, False]


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: medium.wavelength_mm(0.5, 2.0), "permittivity below 1"),
        (lambda: medium.wavelength_mm([6.0, 0.9], 2.0), "permittivity below 1"),
        (lambda: medium.wavelength_mm(math.inf, 2.0), "Metal carries no wave"),
        (lambda: medium.wavelength_mm(6.0, 0.0), "frequency above zero"),
        (lambda: medium.wavelength_mm(6.0, -2.0), "frequency above zero"),
        (lambda: medium.fresnel_radius_mm(-1.0, 6.0, 2.0), "depth below zero"),
        (lambda: medium.reflection(math.inf, 6.0), "Metal carries no wave"),
        (lambda: medium.reflection(6.0, 0.0), "permittivity below 1"),
        (lambda: medium.attenuation_db_per_m(6.0, -0.01, 2.0), "conductivity below zero"),
        (lambda: medium.phase_velocity_mm_per_ns(6.0, math.inf, 2.0), "Metal carries no wave"),
    ],
)
def test_what_no_medium_can_be_is_refused_in_a_sentence(ask, message):
    with pytest.raises(DepthwrightError, match=message) as told:
        ask()
    assert told.value.message.endswith(".")
