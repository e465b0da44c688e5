"""The exact direct wave over a half-space against closed forms."""

import time

import numpy as np
import pytest

from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError
from depthwright.simulate.dipole import direct_wave, free_space, reflected

FREQUENCIES_GHZ = np.linspace(0.05, 6.0, 120)


def test_far_from_a_dipole_alone_the_field_is_an_echo():
    distance = 5e4
    echo = np.exp(-2j * np.pi * FREQUENCIES_GHZ * distance / C_MM_PER_NS) / distance
    assert free_space(FREQUENCIES_GHZ, distance) == pytest.approx(echo, rel=0.02)


def test_no_contrast_reflects_nothing():
    alone = free_space(FREQUENCIES_GHZ, 50.0)
    assert np.array_equal(direct_wave(FREQUENCIES_GHZ, 50.0, 3.0, 1.0), alone)
    weak = reflected(FREQUENCIES_GHZ, 50.0, 3.0, 1.001)
    assert np.abs(weak / alone).max() < 0.002


@pytest.mark.parametrize("height_mm", [0.0, 1.0, 3.3, 10.0, 25.0, 50.0])
def test_boundless_permittivity_is_a_mirror(height_mm):
    """The image of a dipole along a perfect conductor is its opposite, at twice the height."""
    image = -free_space(FREQUENCIES_GHZ, np.hypot(50.0, 2 * height_mm))
    field = reflected(FREQUENCIES_GHZ, 50.0, height_mm, 1e10)
    assert np.abs(field / image - 1).max() < 5e-5


@pytest.mark.parametrize("height_mm", [0.0, 3.3, 10.0])
@pytest.mark.parametrize("permittivity", [2.5, 7.0, 15.0])
def test_slow_fields_are_those_of_an_electrostatic_image(height_mm, permittivity):
    """A charge over a dielectric has the image (1 - eps) / (1 + eps) (Jackson, sec. 4.4, from memory)."""
    slow = np.array([0.001])
    image = free_space(slow, np.hypot(50.0, 2 * height_mm))
    strength = (1 - permittivity) / (1 + permittivity)
    assert reflected(slow, 50.0, height_mm, permittivity) / image == pytest.approx(
        strength, rel=1e-4
    )


def test_only_lengths_in_wavelengths_count():
    field = direct_wave(FREQUENCIES_GHZ, 50.0, 4.0, 7.0)
    halved = direct_wave(2 * FREQUENCIES_GHZ, 25.0, 2.0, 7.0)
    assert halved == pytest.approx(2 * field, rel=1e-8)


def test_on_the_surface_is_the_limit_of_just_above():
    above, on = (direct_wave(FREQUENCIES_GHZ, 50.0, height, 7.0) for height in (1e-4, 0.0))
    assert on == pytest.approx(above, rel=1e-4)


def test_far_along_the_surface_one_wave_runs_in_the_air_and_one_in_the_concrete():
    """Their delays are s/c and n s/c (ray theory), within a third of a period."""
    frequency = np.arange(1, 1201) * 0.005
    pulse = np.exp(-(((frequency - 3) / 0.9) ** 2))
    field = direct_wave(frequency, 600.0, 5.0, 6.25) * pulse
    time_ns = np.arange(0.0, 8.0, 0.01)
    trace = np.abs(np.exp(2j * np.pi * time_ns[:, None] * frequency) @ field)
    peaks = time_ns[1:-1][(trace[1:-1] > trace[:-2]) & (trace[1:-1] > trace[2:])]
    strong = peaks[trace[np.round(peaks / 0.01).astype(int)] > 0.1 * trace.max()]
    assert strong == pytest.approx(np.array([1.0, 2.5]) * 600 / C_MM_PER_NS, abs=0.1)


def test_a_whole_spectrum_takes_well_under_a_second():
    start = time.thread_time()  # whatever else the machine does
    direct_wave(np.linspace(0.02, 8.0, 200), 50.0, 3.0, 7.0)
    assert time.thread_time() - start < 1.0


@pytest.mark.parametrize(
    ("separation_mm", "height_mm", "permittivity"),
    [(0.0, 0.0, 7.0), (50.0, -1.0, 7.0), (50.0, 51.0, 7.0), (50.0, 3.0, 0.9)],
)
def test_what_cannot_be_computed_is_said(separation_mm, height_mm, permittivity):
    with pytest.raises(DepthwrightError) as refused:
        direct_wave(FREQUENCIES_GHZ, separation_mm, height_mm, permittivity)
    assert refused.value.hint
