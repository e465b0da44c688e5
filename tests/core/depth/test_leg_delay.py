"""The computed delay by the surface is read from one table, however the antennas' heights are mixed."""

import numpy as np
import pytest

from depthwright.depth.leg_delay import leg_delay_ns


@pytest.mark.parametrize("height_mm", [0.1, 4.0, 9.0, 60.0])
def test_equally_high_antennas_have_the_delay_they_have_among_others(height_mm):
    random = np.random.default_rng(3)
    length, angle = random.uniform(5, 300, 200), random.uniform(-1.4, 1.4, 200)
    permittivity = random.uniform(3, 20, 200)
    alone = leg_delay_ns(length, angle, height_mm, permittivity, 2.0)
    # Five heights at once are read along all axes of the table.
    heights = np.array([height_mm, 1.0, 2.0, 5.0, 7.0])[:, None]
    among = leg_delay_ns(length, angle, heights, permittivity, 2.0)
    np.testing.assert_allclose(alone, among[0], rtol=0, atol=1e-13)
    assert np.ptp(among, axis=0).max() > 1e-3
