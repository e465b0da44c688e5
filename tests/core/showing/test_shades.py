"""From samples to shades."""

import numpy as np
import pytest

from depthwright.processing.recipe import NOTHING
from depthwright.showing.chain import make_chain
from depthwright.showing.shades import Shades, full_scale


def shades_of(scan, setting_for, **recipe):
    chain = make_chain(scan, NOTHING.model_copy(update=recipe), setting_for(scan))
    return Shades.of(chain)


def test_a_wave_is_shown_about_zero_and_an_envelope_from_zero(noisy_scan, setting_for):
    wave = shades_of(noisy_scan, setting_for)
    assert wave.low == -wave.high
    assert shades_of(noisy_scan, setting_for, envelope=True).low == 0.0


def test_the_ends_of_the_map_stand_for_full_scale():
    picture = np.array([[-2.0], [-1.0], [0.0], [1.0], [2.0]], np.float32)
    places = Shades(-1.0, 1.0).places(picture, np.ones(5, np.float32))
    assert places[:, 0].tolist() == [0, 0, 127, 255, 255]


def test_a_gain_acts_on_each_sample():
    picture = np.ones((3, 2), np.float32)
    places = Shades(0.0, 8.0).places(picture, np.array([1.0, 2.0, 4.0], np.float32))
    assert places[:, 1].tolist() == [31, 63, 127]


def test_two_per_cent_of_the_samples_reach_full_scale():
    sample = np.random.default_rng(1).standard_normal((100, 300)).astype(np.float32)
    level = full_scale(sample)
    assert (np.abs(sample) > level).mean() == pytest.approx(0.02, abs=1e-3)


def test_silence_has_a_scale_too():
    assert full_scale(np.zeros((10, 300), np.float32)) == 1.0


def test_a_line_that_is_silent_but_for_a_few_traces_is_not_all_white():
    sample = np.zeros((400, 300), np.float32)
    sample[7, 100] = 1e4
    assert full_scale(sample) == 1e4
