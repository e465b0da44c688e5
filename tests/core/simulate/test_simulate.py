"""The full-wave simulator against theory that it does not contain."""

import json
from pathlib import Path

import numpy as np
import pytest
import scipy.fft
import scipy.special

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.files.segy import read_segy
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.processing.filters import keep_band
from depthwright.simulate import antenna, fdtd
from depthwright.simulate.scene import AntennaPair, Bar, Materials, Scene, rasterise

PAIR = AntennaPair(40.0, 2.5, 2.0)
DT_NS = 0.016
SAMPLED = 360
SAMPLES = Path(__file__).parents[3] / "sample_data"


def test_the_field_of_a_line_source_in_a_homogeneous_medium():
    """E = -(omega mu / 4) H0(2)(k r) I (Harrington, Time-Harmonic Electromagnetic Fields, 1961, sec. 5-6,
    from memory), by inverse transform."""
    eps, distance, cell = 6.0, 75.0, fdtd.CELL_MM
    shape = (240, 180)
    ones = np.ones(shape, dtype=np.float32)
    medium = Materials(cell, 0.0, 0.0, eps * ones, 0 * ones, np.zeros(shape, dtype=bool))
    step_ns = 0.99 * cell / (C_MM_PER_NS * np.sqrt(2))
    time = (np.arange(900) + 0.5) * step_ns
    current = fdtd.ricker(time, 2.0)
    found = fdtd.run(medium, step_ns, current, (90, 90), (150, 90))
    count = 8192
    omega = 2 * np.pi * scipy.fft.rfftfreq(count, step_ns)
    spectrum = scipy.fft.rfft(current, n=count)
    k = omega * np.sqrt(eps) / C_MM_PER_NS
    green = np.zeros(len(omega), dtype=complex)
    green[1:] = -omega[1:] / 4 * scipy.special.hankel2(0, k[1:] * distance)
    exact = scipy.fft.irfft(spectrum * green, n=count)[:900]
    # Recorded half a step after the current; amplitudes in one common scale.
    found = np.interp(time, time + 0.5 * step_ns, found)
    assert np.corrcoef(found, exact)[0, 1] > 0.999
    late = np.abs(exact).argmax()
    assert abs(int(np.abs(found).argmax()) - late) <= 2


def test_the_edges_absorb(monkeypatch):
    """A window twice as wide, whose edges answer much later, gives the same trace to a thousandth."""
    scene = Scene(8.0, 0.005, (0.0,), (150.0,), (Bar(60.0, 40.0, 12.0),))
    near = fdtd.simulate_line(scene, PAIR, np.zeros(1), DT_NS, 300)[0]
    monkeypatch.setattr(fdtd, "REACH_MM", 430.0)
    far = fdtd.simulate_line(scene, PAIR, np.zeros(1), DT_NS, 300)[0]
    assert np.abs(near - far).max() < 1e-3 * np.abs(far).max()


@pytest.fixture(scope="module")
def bare():
    """A trace over concrete without end: what is taken off to leave an echo alone."""
    return antenna.simulate_half_space(Scene(8.0, 0.005, (0.0,), (1e4,)), PAIR, DT_NS, SAMPLED)[0]


def echo(scene, bare, samples=SAMPLED):
    """A scene's trace less the one over concrete without end."""
    return fdtd.simulate_line(scene, PAIR, np.zeros(1), DT_NS, samples)[0] - bare[:samples]


def picked_ns(trace):
    """File time of the strongest echo after the direct wave."""
    around = envelope(keep_band(trace[None], DT_NS, 1.83))
    return refine_peak(around, 60 + around[:, 60:].argmax(axis=1))[0] * DT_NS


@pytest.fixture(scope="module")
def faces_ns(bare):
    """File times of back faces by their thickness, mm."""
    return {
        thickness: picked_ns(echo(Scene(8.0, 0.005, (0.0,), (thickness,)), bare))
        for thickness in (150.0, 200.0)
    }


@pytest.mark.parametrize("thickness", [150.0, 200.0])
def test_the_back_face_comes_when_the_ray_says(faces_ns, thickness):
    """Snell and Fermat for the ray; two dimensions and the near field keep the echo within 25 ps."""
    ray = wave.travel_time(thickness, 8.0, 40.0, 2.5).time_ns
    zero = antenna.zero_time_ns(2.0, 1.83, DT_NS)
    assert faces_ns[thickness] - zero == pytest.approx(float(ray), abs=0.025)


def test_thicker_by_50_mm_is_later_by_the_waves_time(faces_ns):
    """Difference of two echoes: free of the antennas' near field; v = c / sqrt(eps)."""
    rays = wave.travel_time(np.array([150.0, 200.0]), 8.0, 40.0, 2.5).time_ns
    assert faces_ns[200.0] - faces_ns[150.0] == pytest.approx(rays[1] - rays[0], abs=0.006)


@pytest.mark.parametrize(("cover", "diameter"), [(40.0, 12.0), (62.5, 16.0)])
def test_a_bars_echo_comes_when_the_ray_says(bare, cover, diameter):
    """Within 20 ps (1.1 mm): bars drawn as whole cells and the grid's dispersion make it 10 to 17 ps late."""
    scene = Scene(8.0, 0.005, (0.0,), (300.0,), (Bar(0.0, cover, diameter),))
    found = picked_ns(echo(scene, bare, 220))
    ray = wave.travel_time(cover, 8.0, 40.0, 2.5).time_ns
    assert found - antenna.zero_time_ns(2.0, 1.83, DT_NS) == pytest.approx(float(ray), abs=0.020)


def test_a_bar_is_an_echo_of_opposite_sign_to_the_back_face(bare):
    """Reflection to a conductor is -1, from concrete to air positive (Fresnel)."""
    bar = echo(Scene(8.0, 0.005, (0.0,), (250.0,), (Bar(0.0, 60.0, 16.0),)), bare, 200)
    face = echo(Scene(8.0, 0.005, (0.0,), (60.0,)), bare, 200)
    assert np.corrcoef(bar, face)[0, 1] < -0.8


def test_the_aggregate_is_fixed_to_the_concrete():
    scene = Scene(8.0, 0.005, (0.0,), (100.0,), aggregate_spread=0.5, seed=3)
    one, two = (rasterise(scene, 1.25, 0.0, 200.0, -20.0, 120.0) for _ in range(2))
    assert np.array_equal(one.permittivity, two.permittivity)
    inside = one.permittivity[:, 20:90]
    assert inside.std() == pytest.approx(0.5, rel=0.25)


def test_the_committed_line_is_what_the_program_computes():
    """One trace of the first sample line, computed again, differs by the added noise alone."""
    truth = json.loads((SAMPLES / "truth.json").read_text("utf-8"))
    stored = truth["lines"]["deck-L1"]
    lists = {name: tuple(stored[name]) for name in ("face_mm", "thickness_mm")}
    bars = tuple(Bar(**bar) for bar in stored["bars"])
    scene = Scene(**{**stored, **lists, "bars": bars, "hollows": ()})
    scan = read_segy(SAMPLES / "deck-L1.sgy")
    acquisition = truth["acquisition"]
    again = fdtd.simulate_line(scene, PAIR, np.array([260.0]), acquisition["dt_ns"], scan.samples)[
        0
    ]
    trace = scan.nearest_trace(260.0)
    there = scan.block(trace, trace + 1)[0]
    scale = float(again @ there / (again @ again))
    noise = 10 ** (acquisition["noise_db"] / 20)
    assert np.std(there - scale * again) == pytest.approx(noise, rel=0.15)
