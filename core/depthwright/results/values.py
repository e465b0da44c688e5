"""The values a job comes to: frozen rows that screens and exports only have to write down."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth.estimator import Points, Posterior, implied_permittivity
from depthwright.depth.priors import BAR_PICK_U_NS
from depthwright.job import TargetKind, Tie

Floats = NDArray[np.float64]

COVERAGE_FACTOR = 2.0
"""Expanded uncertainty U = k u with k = 2, about 95 % (JCGM 100:2008, 6.2)."""

OUTLINE_POINTS = 61
GAP_STEPS = 3.5
"""Tracked points farther apart than this many usual steps have a gap between them."""


@dataclass(frozen=True)
class Measured:
    """A value and its standard uncertainty, mm."""

    value_mm: float
    u_mm: float

    @property
    def expanded_mm(self) -> float:
        """Expanded uncertainty U, k = 2, mm."""
        return COVERAGE_FACTOR * self.u_mm


@dataclass(frozen=True)
class BarRow:
    """One bar. Positions are from the datum; spacing is to the bar before it from the datum."""

    mark_id: str
    number: int
    position: Measured
    cover: Measured
    spacing: Measured | None
    diameter_mm: float
    two_way_ns: float
    overlaps_direct: bool
    tie: Tie | None


@dataclass(frozen=True)
class AnchorRow:
    """One anchor of a back face."""

    position: Measured
    depth: Measured
    tie: Tie | None


@dataclass(frozen=True)
class FaceRow:
    """One back face: its anchors and the profile between them.

    The profile's arrays have the shape (points,), ordered from the datum, mm.
    """

    mark_id: str
    number: int
    anchors: tuple[AnchorRow, ...]
    position_mm: Floats
    depth_mm: Floats
    depth_u_mm: Floats
    time_ns: Floats

    @property
    def breaks(self) -> NDArray[np.intp]:
        """Indices of the profile's points that begin a stretch after a gap.

        Anchors alone are joined: nothing was tracked between them.
        """
        if len(self.position_mm) <= max(2, len(self.anchors)):
            return np.empty(0, dtype=np.intp)
        steps = np.diff(self.position_mm)
        return np.flatnonzero(steps > GAP_STEPS * np.median(steps)) + 1

    @property
    def median(self) -> Measured:
        """Median thickness of the profile with the uncertainty of the point it is read at."""
        known = np.flatnonzero(np.isfinite(self.depth_mm))
        if not len(known):
            return Measured(float("nan"), float("nan"))
        middle = known[np.argsort(self.depth_mm[known], kind="stable")[len(known) // 2]]
        return Measured(float(self.depth_mm[middle]), float(self.depth_u_mm[middle]))


@dataclass(frozen=True)
class TargetRow:
    """Another target."""

    mark_id: str
    number: int
    what: TargetKind
    position: Measured
    depth: Measured


@dataclass(frozen=True)
class EvidenceRow:
    """One piece of evidence and the permittivity it alone would give (with the antenna's prior)."""

    label: str
    permittivity: float
    permittivity_u: float
    used: bool
    mark_id: str = ""


@dataclass(frozen=True)
class LineModel:
    """A line's depth model: what turns its file times into depths."""

    posterior: Posterior
    antenna_index: int
    separation_mm: float
    height_mm: float
    direct_ns: float
    card_offset_ns: float

    @property
    def zero_ns(self) -> float:
        """File time of zero travelled distance by the antenna card, ns."""
        return self.direct_ns - self.separation_mm / C_MM_PER_NS - self.card_offset_ns

    @property
    def residual_offset_ns(self) -> float:
        """The antenna's ``r``: what the evidence adds to the card's time offset, ns."""
        return float(self.posterior.time_offset_ns[self.antenna_index])

    def two_way_ns(self, file_ns: float) -> float:
        """Two-way time of an echo, with what the evidence says of the time offset, ns."""
        return file_ns - self.zero_ns + self.residual_offset_ns

    def read_at(self, file_ns: float) -> Measured:
        """The depth of an echo at a file time, with the interval of a bar picked there."""
        depth, u = self.depths(np.array([file_ns]), np.array([BAR_PICK_U_NS]))
        return Measured(float(depth[0]), float(u[0]))

    def points(self, file_ns: Floats, time_u_ns: Floats) -> Points:
        """Points without ties at file times, shape (points,)."""
        count = len(file_ns)
        unknown = np.full(count, np.nan)
        return Points(
            time_ns=file_ns - self.zero_ns,
            time_u_ns=time_u_ns,
            separation_mm=np.full(count, self.separation_mm),
            height_mm=np.full(count, self.height_mm),
            antenna=np.full(count, self.antenna_index, dtype=np.intp),
            tie_mm=unknown,
            tie_u_mm=unknown,
        )

    def depths(self, file_ns: Floats, time_u_ns: Floats) -> tuple[Floats, Floats]:
        """Depths and standard uncertainties at file times, mm, shape (points,)."""
        posterior = self.posterior.more(self.points(file_ns, time_u_ns))
        return posterior.depth_mm, posterior.depth_u_mm

    def bar_outline(
        self, position_mm: ArrayLike, cover_mm: ArrayLike, diameter_mm: ArrayLike
    ) -> Floats:
        """Bars in true geometry on the time axis: (mm, ns) pairs, shape (..., points, 2), closed.

        The inputs broadcast; many bars at once cost hardly more than one.
        """
        angle = np.linspace(0, 2 * np.pi, OUTLINE_POINTS)
        position, cover, radius = (
            np.asarray(value, dtype=np.float64)[..., None]
            for value in (position_mm, cover_mm, np.asarray(diameter_mm) / 2)
        )
        depth = np.maximum(cover + radius * (1 - np.sin(angle)), 0.0)
        return np.stack([position + radius * np.cos(angle), self.file_ns(depth)], axis=-1)

    def permittivity_for(self, depth_mm: float, file_ns: float) -> float:
        """The permittivity that would read ``depth_mm`` at a file time, all else as it is."""
        point = self.points(np.array([file_ns + self.residual_offset_ns]), np.array([1.0]))
        return float(implied_permittivity(replace(point, tie_mm=np.array([depth_mm])))[0])

    def file_ns(self, depth_mm: Floats) -> Floats:
        """File times at which depths are read, ns: where the ruler's ticks belong."""
        travelled = wave.travel_time(
            depth_mm, self.posterior.permittivity, self.separation_mm, self.height_mm
        )
        return travelled.time_ns + self.zero_ns - self.residual_offset_ns


@dataclass(frozen=True)
class LineRows:
    """A line's rows and the model behind them."""

    model: LineModel
    bars: tuple[BarRow, ...]
    faces: tuple[FaceRow, ...]
    targets: tuple[TargetRow, ...]


@dataclass(frozen=True)
class Results:
    """All a job comes to.

    ``warnings`` put every number in doubt and stand wherever numbers are handed on; ``messages`` are
    about single marks.
    ``parameters`` names the rows of ``covariance``: ln permittivity, then each antenna's ``r`` in ns.
    """

    permittivity: float
    permittivity_u: float
    provisional: bool
    adopted_from: tuple[str, ...]
    evidence: tuple[EvidenceRow, ...]
    lines: dict[str, LineRows]
    parameters: tuple[str, ...]
    covariance: Floats
    warnings: tuple[str, ...]
    messages: tuple[str, ...]

    @property
    def velocity_mm_per_ns(self) -> float:
        """Wave velocity by the permittivity, mm/ns."""
        return wave.velocity_mm_per_ns(self.permittivity)
