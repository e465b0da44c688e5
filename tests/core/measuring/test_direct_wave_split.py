"""The direct wave where the waves in the air and in the concrete part into two maxima."""

import numpy as np
import pytest

from depthwright.measuring.timezero import find_direct_wave
from depthwright.scan import scan_from_array
from depthwright.simulate.fdtd import ricker

DT_NS = 0.01


def test_the_first_maximum_is_picked_though_a_stronger_one_follows():
    """Two pulses 0.5 ns apart, the second half as strong again: the first is the direct wave."""
    time = np.arange(600) * DT_NS
    trace = ricker(time - 0.6, 1.8) + 1.5 * ricker(time - 1.1, 1.8)
    scan = scan_from_array(np.repeat(trace[None, :], 9, axis=0), DT_NS)
    direct = find_direct_wave(scan, 1.8)
    alone = scan_from_array(np.repeat(ricker(time - 0.6, 1.8)[None, :], 9, axis=0), DT_NS)
    assert direct.time_ns == pytest.approx(find_direct_wave(alone, 1.8).time_ns, abs=0.08)
