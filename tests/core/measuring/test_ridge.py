"""A bar's crest is followed to both sides, as far as it is one, and thinned to nodes."""

from types import SimpleNamespace

import numpy as np
import pytest

from depthwright import wave
from depthwright.measuring.ridge import APERTURE_MM, NODE_MM, follow_crest, nodes_of
from depthwright.processing.envelope import envelope
from depthwright.processing.filters import keep_band
from depthwright.scan import scan_from_array

EPS, SEPARATION_MM, RADIUS_MM = 8.0, 40.0, 8.0


def crest_ns(cover_mm, away_mm):
    """Arrivals of a bar ``away_mm`` beside the antennas, behind a lead of 1 ns."""
    return 1.0 + wave.bar_time(away_mm, cover_mm, RADIUS_MM, EPS, SEPARATION_MM).time_ns


def line(arrivals_ns, strength, dt_ns, spacing_mm, ghz, noise=0.0):
    """Stage and envelopes of pulses at given times, shape (traces,) each, on one line."""
    time = np.arange(round(5.0 / dt_ns)) * dt_ns
    samples = np.zeros((arrivals_ns.shape[-1], len(time)))
    for arrival, strong in zip(np.atleast_2d(arrivals_ns), np.atleast_2d(strength), strict=True):
        phase = (np.pi * ghz * (time[None, :] - arrival[:, None])) ** 2
        samples += strong[:, None] * (1 - 2 * phase) * np.exp(-phase)
    samples += noise * np.random.default_rng(4).standard_normal(samples.shape)
    scan = scan_from_array(samples, dt_ns, spacing_mm)
    stage = SimpleNamespace(scan=scan, period_ns=1 / (1.1 * ghz))
    band = keep_band(scan.block(0, scan.traces), dt_ns, 1.1 * ghz)
    return stage, envelope(band).astype(np.float64)


def followed(stage, envelopes, at_ns):
    middle = len(envelopes) // 2
    near = round(at_ns / stage.scan.dt_ns)
    sample = near - 3 + int(np.argmax(envelopes[middle, near - 3 : near + 4]))
    return follow_crest(stage, envelopes, 0, middle, sample)


@pytest.mark.parametrize("spacing_mm", [2.5, 5.0, 10.0])
@pytest.mark.parametrize(("ghz", "dt_ns"), [(1.6, 0.02), (2.6, 0.016), (2.6, 0.025)])
@pytest.mark.parametrize("cover_mm", [20.0, 40.0, 80.0])
def test_a_crest_is_followed_to_the_end_of_its_aperture(cover_mm, ghz, dt_ns, spacing_mm):
    """Through its bend, where the slope changes most from trace to trace."""
    away = np.arange(-200.0, 201.0, spacing_mm)
    truth = crest_ns(cover_mm, away)
    stage, envelopes = line(truth, np.ones(len(away)), dt_ns, spacing_mm, ghz)
    crest = followed(stage, envelopes, crest_ns(cover_mm, 0.0))
    known = np.isfinite(crest)
    assert away[known].min() == pytest.approx(-APERTURE_MM, abs=spacing_mm)
    assert away[known].max() == pytest.approx(APERTURE_MM, abs=spacing_mm)
    assert np.abs(crest - truth)[known].max() < 0.004


def test_noise_does_not_break_a_crest():
    away = np.arange(-200.0, 201.0, 5.0)
    truth = crest_ns(40.0, away)
    stage, envelopes = line(truth, np.ones(len(away)), 0.016, 5.0, 2.6, noise=0.03)
    crest = followed(stage, envelopes, crest_ns(40.0, 0.0))
    known = np.isfinite(crest)
    assert known.sum() >= 63
    assert np.std((crest - truth)[known]) < 0.012


def test_a_crest_ends_where_it_has_faded():
    away = np.arange(-200.0, 201.0, 5.0)
    strength = np.exp(-((away / 80.0) ** 2))
    stage, envelopes = line(crest_ns(50.0, away), strength, 0.02, 5.0, 2.0)
    crest = followed(stage, envelopes, crest_ns(50.0, 0.0))
    reach = away[np.isfinite(crest)]
    # exp(-(x / 80)^2) is 0.3 at 88 mm.
    assert reach.min() == pytest.approx(-88, abs=5)
    assert reach.max() == pytest.approx(88, abs=5)


def test_a_crest_does_not_climb_the_neighbours():
    """Bars 120 mm apart: where their crests cross, half way, the neighbour's comes earlier."""
    away = np.arange(-180.0, 181.0, 5.0)
    arrivals = np.stack([crest_ns(40.0, away - beside) for beside in (-120.0, 0.0, 120.0)])
    stage, envelopes = line(arrivals, np.ones_like(arrivals), 0.016, 5.0, 2.0)
    crest = followed(stage, envelopes, crest_ns(40.0, 0.0))
    known = np.isfinite(crest)
    assert np.all(np.diff(crest[known & (away >= 0)]) > -0.017)
    assert np.all(np.diff(crest[known & (away <= 0)]) < 0.017)
    near = np.abs(away) <= 30
    assert np.abs(crest - arrivals[1])[near].max() < 0.010


def test_a_crest_is_not_followed_off_the_line():
    away = np.arange(-30.0, 31.0, 5.0)
    truth = crest_ns(50.0, away)
    stage, envelopes = line(truth, np.ones(len(away)), 0.02, 5.0, 2.0)
    assert np.abs(followed(stage, envelopes, crest_ns(50.0, 0.0)) - truth).max() < 0.004


def test_nodes_lie_a_fixed_distance_apart_on_the_crest():
    position = np.arange(0.0, 321.0, 5.0)
    time = crest_ns(50.0, position - 161.0)
    nodes = np.array(nodes_of(position, time, 161.0))
    assert np.allclose(np.diff(nodes[:, 0]), NODE_MM)
    assert 161.0 in nodes[:, 0]
    assert np.abs(nodes[:, 1] - crest_ns(50.0, nodes[:, 0] - 161.0)).max() < 0.002


def test_too_short_a_crest_gives_no_nodes():
    position = np.arange(0.0, 321.0, 5.0)
    time = np.where(np.abs(position - 160.0) <= 30.0, crest_ns(50.0, position - 160.0), np.nan)
    assert nodes_of(position, time, 160.0) == ()
    assert nodes_of(position, np.full(len(position), np.nan), 160.0) == ()
