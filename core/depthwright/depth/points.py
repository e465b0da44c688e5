"""Picked points as the estimator takes them."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Points:
    """Picked points; all arrays have the shape (points,).

    Parameters
    ----------
    time_ns, time_u_ns
        Time after the line's direct wave, and the pick's own standard uncertainty, ns.
    line
        Index of the line in the setting.
    bar
        1 for a bar, 0 for another point.
    face, level
        Index of the back face the point is on, -1 for none; and the cosine of its dip.
    tie_mm, tie_u_mm
        Known depth and its standard uncertainty, mm; NaN where there is none.
    meter, shared
        Index of the meter that read the tie (-1 for none), and the share of the tie's variance that
        all its readings have in common.
    curve, curve_u, curve_time_ns, curve_slopes
        The condensed curvature: ln permittivity and its standard uncertainty (NaN for none), the two-way
        time it holds for, and its slopes with time, separation, height and ln scale, shape (points, 4).
    """

    time_ns: Floats
    time_u_ns: Floats
    line: Indices
    bar: Floats
    face: Indices
    level: Floats
    tie_mm: Floats
    tie_u_mm: Floats
    meter: Indices
    shared: Floats
    curve: Floats
    curve_u: Floats
    curve_time_ns: Floats
    curve_slopes: Floats

    @property
    def tied(self) -> NDArray[np.bool_]:
        """Which points have a known depth."""
        return np.isfinite(self.tie_mm)

    @property
    def curved(self) -> NDArray[np.bool_]:
        """Which points have a curvature."""
        return np.isfinite(self.curve)

    def some(self, which: Indices | NDArray[np.bool_]) -> "Points":
        """Some of the points by themselves."""
        return Points(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence["Points"]) -> "Points":
        """Points of several kinds, one after the other."""
        return cls(
            **{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)}
        )

    def with_ties(self, tie_mm: Floats, tie_u_mm: Floats) -> "Points":
        """The same points with other known depths, shape (points,)."""
        return replace(self, tie_mm=tie_mm, tie_u_mm=tie_u_mm)

    def without_ties(self) -> "Points":
        """The same points with no known depth."""
        nothing = np.full_like(self.tie_mm, np.nan)
        return self.with_ties(nothing, nothing)

    def without_curvature(self) -> "Points":
        """The same points with no curvature."""
        return replace(self, curve=np.full_like(self.curve, np.nan))


def plain_points(
    time_ns: Floats,
    time_u_ns: Floats,
    *,
    line: int = 0,
    bar: float = 0.0,
    face: int = -1,
    level: float = 1.0,
    tie_mm: Floats | None = None,
    tie_u_mm: Floats | None = None,
) -> Points:
    """Points of one line, alike but for their times and ties, without curvature, shape (points,)."""
    count = len(time_ns)
    nothing = np.full(count, np.nan)
    return Points(
        time_ns=time_ns,
        time_u_ns=time_u_ns,
        line=np.full(count, line, dtype=np.intp),
        bar=np.full(count, bar),
        face=np.full(count, face, dtype=np.intp),
        level=np.full(count, level),
        tie_mm=nothing if tie_mm is None else tie_mm,
        tie_u_mm=nothing if tie_u_mm is None else tie_u_mm,
        meter=np.full(count, -1, dtype=np.intp),
        shared=np.zeros(count),
        curve=nothing,
        curve_u=nothing,
        curve_time_ns=nothing,
        curve_slopes=np.full((count, 4), np.nan),
    )
