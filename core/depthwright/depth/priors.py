"""What is known before any evidence of the job: typical values and their standard uncertainties."""

import math

BAR_PICK_U_NS = 0.015
"""Bar apexes against the ray: 10 to 15 ps scatter by aggregate in full-wave runs (own computation)."""

OVERLAP_PICK_U_NS = 0.022
"""The same where the echo lies on the direct wave's tail."""

FACE_PICK_U_NS = 0.010
"""Back face of a slab without bars: within 10 ps of the ray in full-wave runs (own computation)."""

FACE_UNDER_BARS = 0.02
"""Bars above a back face bend its echo by 2 to 3 % of the time (full-wave runs, own computation)."""

TIME_OFFSET_NS = 0.020
TIME_OFFSET_U_NS = 0.065
"""Direct wave against s/c for an antenna nobody has measured: full-wave runs give -20 to +60 ps, and
an unknown height of 3 +/- 2 mm brings the standard uncertainty to about 65 ps (own computation)."""

USUAL_PERMITTIVITY = (4.0, 16.0)
"""Outside this range a permittivity of concrete deserves a second look: common practice, no source."""

ANTENNA_HEIGHT_MM = 3.0
ANTENNA_SEPARATION_MM = 40.0
DISTANCE_SCALE_U = 0.01
METER_READING_U_MM = 1.0
"""A cover meter is good to about 1 mm: common practice, no source."""


def bar_pick_u_ns(overlaps_direct: bool) -> float:
    """Standard uncertainty of a bar's picked time, ns."""
    return OVERLAP_PICK_U_NS if overlaps_direct else BAR_PICK_U_NS


def face_pick_u_ns(two_way_ns: float, bars_above: bool) -> float:
    """Standard uncertainty of a back face's picked time, ns."""
    return math.hypot(FACE_PICK_U_NS, FACE_UNDER_BARS * two_way_ns if bars_above else 0.0)


PULSE_PER_DIRECT_FREQUENCY = 1.16
"""Peak frequency of the far field's pulse against the centre of the direct wave's spectrum."""
CREST_U_NS = 0.008
CREST_SHARE_U = 0.04
