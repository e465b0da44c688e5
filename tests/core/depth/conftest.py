"""A line whose truth is known: points at exact times, and a setting to solve them in."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth.points import Points, plain_points
from depthwright.depth.unknowns import AntennaPrior, LinePrior, Setting, ZonePrior

EXACT = 1e-6
NAN = float("nan")


def make_setting(
    *,
    r_ns=EXACT,
    typed=None,
    separation=40.0,
    separation_u=0.0,
    height=0.0,
    height_u=0.0,
    **more,
) -> Setting:
    """One zone, one antenna, one line; the permittivity free unless ``typed`` (value, u) counts."""
    value, u = typed or (8.0, np.inf)
    return Setting(
        zones=(ZonePrior("zone-1", value, u),),
        antennas=(
            AntennaPrior("antenna-1", separation, separation_u, height, height_u, 0.0, r_ns),
        ),
        lines=(LinePrior("line-1"),),
        **more,
    )


def make_points(
    depths, ties, *, permittivity=8.0, separation=40.0, height=0.0, tie_u=1.0, pick_ns=EXACT, **more
) -> Points:
    """Points at the exact times of their true depths; NaN for no tie."""
    times = wave.travel_time(np.asarray(depths, float), permittivity, separation, height).time_ns
    count = len(depths)
    plain = plain_points(
        times - separation / C_MM_PER_NS,
        np.full(count, pick_ns),
        tie_mm=np.asarray(ties, float),
        tie_u_mm=np.broadcast_to(np.asarray(tie_u, float), count).copy(),
    )
    return replace(plain, **more)


@pytest.fixture(name="make_setting")
def _make_setting() -> Callable[..., Setting]:
    return make_setting


@pytest.fixture(name="make_points")
def _make_points() -> Callable[..., Points]:
    return make_points
