"""Lines and settings for pictures of them."""

import dataclasses

import numpy as np
import pytest

from depthwright.measuring.timezero import DirectWave
from depthwright.processing.filters import keep_band
from depthwright.scan import scan_from_array
from depthwright.showing.setting import Setting

DT_NS = 0.02


def ricker(time_ns, frequency_ghz=2.0):
    """Ricker pulse around zero."""
    phase = (np.pi * frequency_ghz * time_ns) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def setting_for(scan, **other):
    """What the steps need to know of an invented line: its direct wave at 1 ns."""
    time = np.arange(scan.samples) * scan.dt_ns
    wave = keep_band(ricker(time - 1.0).astype(np.float32)[None, :], scan.dt_ns, 2.0)[0]
    direct = DirectWave(1.0, 0.001, wave, 2.0)
    known = {
        "centre_frequency_ghz": 2.0,
        "zero_ns": 0.87,
        "permittivity": 8.0,
        "separation_mm": 40.0,
        "trace_spacing_mm": scan.trace_spacing_mm or 1.0,
        "direct_ns": 1.0,
        "direct": direct,
    }
    return Setting(**(known | other))


def uneven(scan, positions_mm):
    """The same scan with traces just where they are said to be."""
    return dataclasses.replace(scan, positions_mm=np.asarray(positions_mm, dtype=np.float64))


@pytest.fixture(scope="session")
def noisy_scan():
    """A line of 700 traces: direct wave, a flat echo at 4 ns, noise, a dead trace and a spike."""
    random = np.random.default_rng(3)
    time = np.arange(300) * DT_NS
    samples = ricker(time - 1.0) + 0.3 * ricker(time - 4.0)
    samples = samples + 0.01 * random.standard_normal((700, 300))
    samples[200] = 0.0
    samples[400, 250] = 5.0
    return scan_from_array(samples, DT_NS)


@pytest.fixture(name="ricker", scope="session")
def _ricker():
    return ricker


@pytest.fixture(name="setting_for", scope="session")
def _setting_for():
    return setting_for


@pytest.fixture(name="uneven", scope="session")
def _uneven():
    return uneven
