"""The band-pass against an independent one: ObsPy's ``obspy.signal.filter.bandpass`` with ``zerophase=True``,
a Butterworth filter run forwards and backwards (seismology).

Run twice, a Butterworth filter leaves half of a wave on its edges (its definition, from memory); ours does so
amid its flanks. With these frequencies the same, the two still have flanks of different shape, so that they
are compared where both have to leave a wave alone, where both have to take it away, and in what they make of
pulses and noise.
"""

import warnings

import numpy as np
import pytest

from depthwright.processing.filters import HIGH_FOOT, LOW_FOOT, band_pass, shift_times

with warnings.catch_warnings():
    # ObsPy's own imports use an interface that setuptools is about to retire.
    warnings.simplefilter("ignore")
    from obspy.signal.filter import bandpass
    from obspy.signal.interpolation import lanczos_interpolation

DT_NS, SAMPLES = 0.02, 1024
TIME = np.arange(SAMPLES) * DT_NS
LOW_GHZ, HIGH_GHZ = 0.5, 5.0
HALF_GHZ = LOW_GHZ * (1 + LOW_FOOT) / 2, HIGH_GHZ * (1 + HIGH_FOOT) / 2


def both(trace: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Our band-pass and the independent one; frequencies in GHz beside times in ns."""
    ours = band_pass(trace.astype(np.float32)[None], DT_NS, LOW_GHZ, HIGH_GHZ)[0]
    theirs = bandpass(trace, *HALF_GHZ, df=1 / DT_NS, corners=4, zerophase=True)
    return ours, theirs


def faded(wave: np.ndarray) -> np.ndarray:
    """Nothing at the trace's ends, where the two treat what is beyond differently."""
    return wave * np.sin(np.pi * np.arange(SAMPLES) / (SAMPLES - 1)) ** 2


def ricker(frequency_ghz: float, centre_ns: float) -> np.ndarray:
    phase = (np.pi * frequency_ghz * (TIME - centre_ns)) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def test_a_chirp_inside_the_band_passes_both():
    """From 1.2 to 3 GHz over the trace."""
    chirp = faded(np.cos(2 * np.pi * (1.2 * TIME + 0.5 * 1.8 / TIME[-1] * TIME**2)))
    ours, theirs = both(chirp)
    assert np.abs(ours - chirp).max() < 1e-3
    assert np.abs(ours - theirs).max() < 1e-3


@pytest.mark.parametrize("frequency_ghz", [0.1, 0.15, 9.0, 15.0])
def test_a_wave_well_outside_the_band_passes_neither(frequency_ghz):
    ours, theirs = both(faded(np.cos(2 * np.pi * frequency_ghz * TIME)))
    assert np.abs(ours).max() < 0.01
    assert np.abs(theirs).max() < 0.01


@pytest.mark.parametrize("frequency_ghz", [1.2, 1.6, 2.0, 2.6])
@pytest.mark.parametrize("centre_ns", [8.0, 10.007])
def test_a_pulse_comes_out_of_both_alike_and_in_place(frequency_ghz, centre_ns):
    ours, theirs = both(ricker(frequency_ghz, centre_ns))
    assert int(ours.argmax()) == int(theirs.argmax()) == round(centre_ns / DT_NS)
    assert np.abs(ours - theirs).max() < 0.03
    assert np.corrcoef(ours, theirs)[0, 1] > 0.999


def test_noise_loses_the_same_share_of_its_strength():
    noise = faded(np.random.default_rng(0).standard_normal(SAMPLES))
    ours, theirs = both(noise)
    assert np.std(ours) == pytest.approx(np.std(theirs), rel=0.03)


@pytest.mark.parametrize("shift_ns", [0.013, 0.187, -0.094])
def test_shifted_traces_agree_with_lanczos_interpolation(shift_ns):
    """ObsPy's ``lanczos_interpolation``, a windowed sinc in time, where its window fits in."""
    trace = ricker(2.0, 8.0) - 0.4 * ricker(1.3, 12.0)
    margin = 64
    theirs = lanczos_interpolation(
        trace, 0.0, DT_NS, margin * DT_NS + shift_ns, DT_NS, SAMPLES - 2 * margin, a=40
    )
    ours = shift_times(trace.astype(np.float32)[None], DT_NS, np.array([shift_ns]))[0]
    assert np.abs(ours[margin:-margin] - theirs).max() < 1e-3
