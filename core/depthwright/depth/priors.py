"""What is known before any evidence of the job: typical values and their standard uncertainties."""

import math
from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])

BAR_U_NS = 0.010
"""A bar's own: scatter by aggregate in full-wave runs (own computation)."""
_LAGS = (0.3, 0.4, 0.5, 0.6, 0.7, 1.2, 1.6)
_LAG_SHARES = (0.12, 0.08, 0.06, 0.045, 0.03, 0.03, 0.015)
"""What the direct wave's tail leaves in a pick by how many periods it lies behind the direct wave, as a
share of the period: picks of full-wave and of exact fields against their own truth (own computation)."""
CURVATURE_LEAST_LAG = 0.7
"""Nearer to the direct wave, in periods, a crest gives a wrong permittivity (full-wave runs, own
computation)."""
BARS_EARLY_NS = 0.015
BARS_EARLY_U_NS = 0.010
"""All bars: their envelopes come 4 to 26 ps before the refracted ray (full-wave runs, own computation)."""

TARGET_PICK_U_NS = 0.025
"""Other targets, of unknown form and filling: up to 35 ps off the ray (full-wave run, own computation)."""

FACE_PICK_U_NS = 0.010
"""Back face of a slab without bars: within 10 ps of the ray in full-wave runs (own computation)."""
FACE_POINT_SHARE_U = 0.010
"""Bars above a back face bend its echo, point by point, by a share of the time. Averaged over the patch that
the echo comes from (``measuring.patch``), the points of one line scatter by 0.2 to 0.9 % about their median,
under bars no more than between them (full-wave runs, own computation)."""
FACE_SHARE_BY_BARS_U = 0.015
"""And along all of a face: the medians of 23 lines lay -1.5 to +3.4 % from the ray, 1.5 % on the whole
(full-wave runs, own computation)."""
FACE_SHARE_BY_DEPTH_U = 0.020
"""What is known of the permittivity comes from the bars, and concrete is damper or drier below them. A slab
of permittivity 8.5 at its surface and 6.5 from 120 mm down lay 6 % off (full-wave run, own computation);
that much is rare (judgement, no source)."""
FACE_SHARE_U = math.hypot(FACE_SHARE_BY_BARS_U, FACE_SHARE_BY_DEPTH_U)

TIME_OFFSET_NS = 0.0
TIME_OFFSET_U_NS = 0.030
"""What an antenna nobody has measured may add to the computed shift of its direct wave: feeds, housing
and filters. Judgement, no source."""

USUAL_PERMITTIVITY = (4.0, 16.0)
"""Outside this range a permittivity of concrete deserves a second look: common practice, no source."""
BETWEEN_LINES_U = 0.03
"""How far ln permittivity differs between lines of one zone: judgement, no source."""

ANTENNA_HEIGHT_MM = 3.0
ANTENNA_HEIGHT_U_MM = 2.0
"""Wheels and skid plate of a hand-pushed antenna: common practice, no source."""
ANTENNA_SEPARATION_MM = 40.0
SEPARATION_U_MM = 1.0
ASSUMED_SEPARATION_U_MM = 10.0
"""Nobody said it: pairs for concrete are 30 to 60 mm apart (common practice, no source)."""
DISTANCE_SCALE_U = 0.01

METER_READING_U_MM = 1.0
"""A cover meter is good to about 1 mm: common practice, no source."""
METER_SHARED = 0.5
"""Half of a reading's variance is the meter's and its setting's: judgement, no source."""
SITE_LIMIT_MM, SITE_LIMIT_SHARE = 5.0, 0.15
"""Limits of a reading under site conditions, the greater of both (BS 1881-204:1988, read in lecture
notes that quote it)."""

CROSSING_U_DEG = 10.0
"""A line marked as square to the bars may be this far off (one-sided, like the guide's cosine error,
JCGM 100:2008, F.2.4.4): judgement, no source."""
PULSE_PER_LINE_FREQUENCY = 1.16
"""Peak frequency of the far field's pulse against the centre of the spectrum that a line's traces share
(full-wave runs give 1.11 to 1.20, own computation)."""
CREST_U_NS = 0.010
CREST_SHARE_U = 0.05
"""A node of a crest, and what the model of its delay leaves open with the distance from the apex, as a
share of the moveout (full-wave runs, own computation)."""
MOVEOUT = -0.03
MOVEOUT_U = 0.06
"""What all curvature of a job has in common: ln permittivity from the crests of seven full-wave lines lay
-0.12 to +0.07 from the truth (own computation)."""

TILT_U = 0.08
"""The same, per ns of two-way time: shallow bars and deep ones of one full-wave line lay up to 0.1 apart
(own computation). Without it many bars would pretend to measure the antenna's height."""

CRESTS_WORTH = 12
"""However many crests there are, together they are worth this many: what their common model leaves open
is more than a shift and a tilt. Judgement, tried on lines drawn in jobs of up to twenty."""


def bar_pick_u_ns(lag_ns: Number, frequency_ghz: float) -> Number:
    """Standard uncertainty of a bar's picked time that is its own, ns.

    Parameters
    ----------
    lag_ns
        How long after the direct wave it comes: one number, or many.
    frequency_ghz
        Centre frequency of the line.
    """
    share = np.interp(lag_ns * frequency_ghz, _LAGS, _LAG_SHARES)
    return cast(Number, np.hypot(BAR_U_NS, share / frequency_ghz))


def face_pick_u_ns(two_way_ns: Number, bars_above: bool) -> Number:
    """Standard uncertainty of a back face's picked time that is the point's own, ns."""
    share = FACE_POINT_SHARE_U if bars_above else 0.0
    return cast(Number, np.hypot(FACE_PICK_U_NS, share * two_way_ns))


def crossing_prior(angle_deg: float) -> tuple[float, float]:
    """Mean and standard uncertainty of ln sin of the crossing angle against that of the marked one.

    Square crossings can only be less than square: with a deviation of standard uncertainty s, ln cos of
    it has the mean -s^2/2 and the standard deviation s^2/sqrt(2). Marked oblique ones err both ways.
    """
    s = math.radians(CROSSING_U_DEG)
    slope = 1 / math.tan(math.radians(angle_deg))
    return -(s**2) / 2, math.hypot(s**2 / math.sqrt(2), slope * s / 2)
