"""The values a job comes to: frozen rows that screens and exports only have to write down."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from depthwright import wave
from depthwright.depth.curvature import Crest, Curvature
from depthwright.depth.estimator import Posterior
from depthwright.depth.influence import Share, budgets
from depthwright.depth.model import State, implied_log_permittivity
from depthwright.depth.points import Points, plain_points
from depthwright.depth.priors import bar_pick_u_ns
from depthwright.job import TargetKind, Tie

Floats = NDArray[np.float64]
EvidenceKind = Literal["tie", "curvature", "typed", "focusing"]

COVERAGE_FACTOR = 2.0
"""Expanded uncertainty U = k u with k = 2, about 95 % (JCGM 100:2008, 6.2)."""

LARGEST_LOG = 20.0
"""An interval wider than this factor's logarithm says nothing; it is drawn and written as this wide."""
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
    tie: Tie | None


@dataclass(frozen=True)
class EvidenceRow:
    """One piece of evidence and the permittivity it alone would give.

    ``kind`` is "tie", "curvature", "typed" or "focusing" (a check beside the others, never used).
    ``log_u`` is the standard uncertainty of ln permittivity; ``note`` what else there is to say, such as
    how far the rest lies from it, or why it is set aside.
    """

    kind: EvidenceKind
    label: str
    permittivity: float
    log_u: float
    used: bool
    note: str = ""
    line_id: str = ""
    mark_id: str = ""
    place: int = 0

    @property
    def permittivity_u(self) -> float:
        """Standard uncertainty, to first order."""
        return self.permittivity * self.log_u

    @property
    def interval(self) -> tuple[float, float]:
        """Where the permittivity lies with k = 2: even in its logarithm, since it cannot become negative."""
        factor = math.exp(min(COVERAGE_FACTOR * self.log_u, LARGEST_LOG))
        return self.permittivity / factor, self.permittivity * factor


@dataclass(frozen=True)
class OutlookRow:
    """What the deepest depth would be known to with some evidence, mm: one row of what a reading brings."""

    what: str
    expanded_mm: float
    now: bool = False


@dataclass(frozen=True)
class Outlook:
    """How good depths are, near the surface and deep, and what one more reading would bring.

    ``deep_label`` says what the deep depth is of ("the back face"); ``rows`` are of that depth.
    """

    shallow: Measured
    deep: Measured
    deep_label: str
    rows: tuple[OutlookRow, ...]


@dataclass(frozen=True)
class LineModel:
    """A line's depth model: what turns its file times into depths.

    ``beforehand_ns`` is what is added to a time after the direct wave by what is known without evidence.
    """

    posterior: Posterior
    line_index: int
    direct_ns: float
    beforehand_ns: float
    frequency_ghz: float

    @property
    def permittivity(self) -> float:
        """Permittivity along the line."""
        return math.exp(self.posterior.line_log_permittivity(self.line_index)[0])

    @property
    def zero_ns(self) -> float:
        """File time of zero travelled distance by what is known without evidence, ns."""
        return self.direct_ns - self.beforehand_ns

    @property
    def residual_offset_ns(self) -> float:
        """What the evidence adds to that, ns."""
        return float(self._state(np.array([self.direct_ns])).two_way_ns[0]) - self.beforehand_ns

    @property
    def separation_mm(self) -> float:
        """Antenna separation as adopted, mm."""
        return float(self._state(np.array([self.direct_ns])).separation_mm[0])

    @property
    def height_mm(self) -> float:
        """Antenna height as adopted, mm."""
        return float(self._state(np.array([self.direct_ns])).height_mm[0])

    def _state(self, file_ns: Floats) -> State:
        points = self.points(file_ns, np.ones_like(file_ns))
        return self.posterior.model.state(points, self.posterior.theta)

    def read_at(self, file_ns: float) -> Measured:
        """The depth of a bar's echo at a file time, with the interval of a bar picked there."""
        pick_u_ns = bar_pick_u_ns(file_ns - self.direct_ns, self.frequency_ghz)
        depth, u = self.depths(np.array([file_ns]), np.array([pick_u_ns]), bar=1.0)
        return Measured(float(depth[0]), float(u[0]))

    def points(
        self,
        file_ns: Floats,
        time_u_ns: Floats,
        *,
        bar: float = 0.0,
        face: int = -1,
        level: float = 1.0,
    ) -> Points:
        """Points without ties at file times, shape (points,)."""
        return plain_points(
            file_ns - self.direct_ns,
            time_u_ns,
            line=self.line_index,
            bar=bar,
            face=face,
            level=level,
        )

    def depths(
        self,
        file_ns: Floats,
        time_u_ns: Floats,
        *,
        bar: float = 0.0,
        face: int = -1,
        level: float = 1.0,
    ) -> tuple[Floats, Floats]:
        """Depths and standard uncertainties at file times, mm, shape (points,)."""
        depths = self.posterior.depths(
            self.points(file_ns, time_u_ns, bar=bar, face=face, level=level)
        )
        return depths.depth_mm, depths.u_mm

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
        """The permittivity that would read a bar at ``depth_mm`` at a file time, all else as it is."""
        point = self.points(np.array([file_ns]), np.array([1.0]), bar=1.0)
        tied = replace(point, tie_mm=np.array([depth_mm]))
        model = self.posterior.model
        return math.exp(float(implied_log_permittivity(tied, model, self.posterior.theta)[0]))

    def file_ns(self, depth_mm: Floats) -> Floats:
        """File times at which bars of these depths are read, ns: where the ruler's ticks belong."""
        state = self._bar_state
        travelled = wave.travel_time(
            depth_mm, self.permittivity, state.separation_mm[0], state.height_mm[0]
        )
        file_ns: Floats = travelled.time_ns + (self.direct_ns - float(state.two_way_ns[0]))
        return file_ns

    @cached_property
    def _bar_state(self) -> State:
        points = self.points(np.array([self.direct_ns]), np.ones(1), bar=1.0)
        return self.posterior.model.state(points, self.posterior.theta)


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

    ``permittivity`` is the first zone's; ``outlooks`` are by line id, that of the
    whole job by "".
    ``warnings`` put every number in doubt and stand wherever numbers are handed on; ``messages`` are
    about single marks. ``points`` and ``labels`` are of every spot of the job, as they were solved with,
    in the order of ``spots`` (ids of line and mark, and place in it); ``curvatures`` the condensed
    crests, for the next time.
    """

    permittivity: float
    permittivity_u: float
    provisional: bool
    adopted_from: tuple[str, ...]
    evidence: tuple[EvidenceRow, ...]
    outlooks: Mapping[str, Outlook | None]
    lines: dict[str, LineRows]
    posterior: Posterior
    points: Points
    labels: tuple[str, ...]
    spots: tuple[tuple[str, str, int], ...]
    curvatures: Mapping[Crest, Curvature | None]
    warnings: tuple[str, ...]
    messages: tuple[str, ...]

    @property
    def velocity_mm_per_ns(self) -> float:
        """Wave velocity by the permittivity, mm/ns."""
        return wave.velocity_mm_per_ns(self.permittivity)

    @property
    def outlook(self) -> Outlook | None:
        """The outlook of the whole job; None without a mark."""
        return self.outlooks[""]

    @property
    def curved(self) -> frozenset[tuple[str, str]]:
        """Line and mark ids of the bars whose curvature counts."""
        return frozenset(
            (line_id, mark_id)
            for (line_id, mark_id, _), counts in zip(self.spots, self.points.curved, strict=True)
            if counts
        )

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the shared unknowns: the rows of :attr:`covariance`."""
        return self.posterior.names

    @property
    def covariance(self) -> Floats:
        """Covariance of the shared unknowns, shape (n, n)."""
        return self.posterior.covariance

    def budget_of(self, line_id: str, mark_id: str, place: int = 0) -> tuple[Share, ...]:
        """What contributes how much to the uncertainty of one mark's depth, the greatest first."""
        return self.budgets([(line_id, mark_id, place)])[0]

    def budgets(self, spots: Sequence[tuple[str, str, int]]) -> list[tuple[Share, ...]]:
        """The same of many marks at once (ids of line and mark, and place in it)."""
        order = {spot: index for index, spot in enumerate(self.spots)}
        targets = [order[spot] for spot in spots]
        return budgets(self.posterior, self.points, self.labels, targets)
