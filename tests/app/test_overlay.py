"""What is painted over a plot: outlines with as few points as look the same."""

import numpy as np
import pytest

from depthwright_app import theme
from depthwright_app.plotting.overlay import SAME_PX, pen, thinned

ANGLE = np.linspace(0, 2 * np.pi, 61)


def outlines(across, down):
    """Two bars of these half axes, px, as the depth model draws them: from a side over the top."""
    ring = np.stack([across * np.cos(ANGLE), down * (1 - np.sin(ANGLE))], axis=-1)
    return np.stack([ring + np.array([100.0, 50.0]), ring + np.array([300.0, 80.0])])


def away_from(points, run):
    """Greatest distance of some points from a polyline, px."""
    start, step = run[:-1], np.diff(run, axis=0)
    length = np.maximum((step**2).sum(axis=1), 1e-12)
    along = ((points[:, None] - start) * step).sum(axis=2) / length
    nearest = start + np.clip(along, 0, 1)[..., None] * step
    return np.hypot(*np.moveaxis(points[:, None] - nearest, -1, 0)).min(axis=1).max()


@pytest.mark.parametrize(
    ("across", "down"),
    [(0.05, 6.0), (0.14, 9.0), (0.5, 6.0), (4.0, 5.0), (12.0, 9.0), (80.0, 60.0)],
)
def test_a_thinned_outline_lies_where_the_whole_one_does(across, down):
    whole = outlines(across, down)
    for full, few in zip(whole, thinned(whole), strict=True):
        assert away_from(full, few) < SAME_PX


def test_small_outlines_have_few_points_and_large_ones_all():
    assert thinned(outlines(0.1, 6.0)).shape == (2, 2, 2)
    assert thinned(outlines(2.0, 3.0)).shape == (2, 13, 2)
    assert thinned(outlines(80.0, 60.0)).shape == (2, 61, 2)


def test_a_thinned_outline_keeps_its_top_and_bottom():
    for across in (0.1, 2.0, 5.0):
        whole = outlines(across, 5.0)
        for full, few in zip(whole, thinned(whole), strict=True):
            assert few[:, 1].min() == full[:, 1].min()
            assert few[:, 1].max() == full[:, 1].max()


def test_a_pen_is_that_of_its_colour_and_width():
    assert pen(theme.BAR, 1.5).color().name() == theme.BAR.lower()
    assert pen(theme.BAR, 1.5).widthF() == 1.5
    assert pen(theme.BAR, 2.5) != pen(theme.BAR, 1.5)
    assert pen(theme.BAR, 1.5, dashed=True) != pen(theme.BAR, 1.5)
