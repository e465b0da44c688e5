"""What is not known: the shared unknowns of a job, each with what is known of it beforehand.

Their order is fixed by the :class:`Setting`; an unknown without uncertainty is held and has no place.
"""

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HEIGHT_BEND_MM = 0.15
"""An unknown far above this is the height itself; below, it bends so that no height becomes negative."""
TILT_FROM_NS = 1.0
"""Two-way time of a bar whose curvature a tilt of the model leaves as it is."""
HELD = -1
"""Column of a quantity that is exact."""


def raised(height_unknown: Floats) -> tuple[Floats, Floats]:
    """The height, mm, that an unknown stands for, and its change with it: h - bend^2/h is the unknown."""
    root = np.hypot(height_unknown, 2 * HEIGHT_BEND_MM)
    return (height_unknown + root) / 2, (1 + height_unknown / root) / 2


@dataclass(frozen=True)
class Unknown:
    """One shared unknown: name (``separation_mm:antenna-1``), group in a budget, mean and standard
    uncertainty; infinite for one that nothing is known of beforehand."""

    name: str
    group: str
    mean: float
    u: float


@dataclass(frozen=True)
class AntennaPrior:
    """An antenna pair.

    ``time_offset_ns`` is the mean of what its direct wave comes later than ``s/c`` (and than the computed
    near-field shift, where ``computed_shift`` says that it counts). Antennas on the surface have the
    height 0 without uncertainty.
    """

    id: str
    separation_mm: float
    separation_u_mm: float
    height_mm: float
    height_u_mm: float
    time_offset_ns: float
    time_offset_u_ns: float
    computed_shift: bool = False

    @property
    def height_unknown(self) -> float:
        """The unknown that stands for the height (:func:`raised`); the height itself when it is exact."""
        if self.height_u_mm == 0 or self.height_mm == 0:
            return self.height_mm
        return self.height_mm - HEIGHT_BEND_MM**2 / self.height_mm


@dataclass(frozen=True)
class LinePrior:
    """A line: its antenna and zone (indices), and what is open about its direct wave and distances.

    ``apart_u`` is how far its ln permittivity may lie from its zone's; ``crossing`` and ``crossing_u`` are of
    the logarithm by which offsets from a bar are shorter because the line crosses it at an angle.
    """

    id: str
    antenna: int = 0
    zone: int = 0
    direct_u_ns: float = 0.0
    direct_frequency_ghz: float = 2.0
    apart_u: float = 0.0
    scale_u: float = 0.0
    crossing: float = 0.0
    crossing_u: float = 0.0


@dataclass(frozen=True)
class ZonePrior:
    """A zone's permittivity as typed, and its standard uncertainty; infinite when it does not count."""

    id: str
    permittivity: float
    permittivity_u: float


@dataclass(frozen=True)
class Setting:
    """Everything known without a mark.

    Parameters
    ----------
    zones, antennas, lines
        The job's parts in their order; points name them by index.
    faces
        For each back face, the share of its time by which bars above may shift all of it (standard
        uncertainty; 0 without bars).
    meters
        Names of the cover meters; the shared error of each is one unknown of unit variance.
    early_ns, early_u_ns
        How much earlier than their ray bars come, and its standard uncertainty.
    moveout, moveout_u
        Share by which the curvature's permittivity is off, and its standard uncertainty.
    tilt_u
        The same for each ns that a bar's two-way time differs from :data:`TILT_FROM_NS`.
    """

    zones: tuple[ZonePrior, ...]
    antennas: tuple[AntennaPrior, ...]
    lines: tuple[LinePrior, ...]
    faces: tuple[float, ...] = ()
    meters: tuple[str, ...] = ()
    early_ns: float = 0.0
    early_u_ns: float = 0.0
    moveout: float = 0.0
    moveout_u: float = 0.0
    tilt_u: float = 0.0


@dataclass(frozen=True)
class Quantity:
    """One kind of quantity, such as the separation of each antenna: which unknown it is, or its exact value.

    Both arrays end with one extra element, exact and zero, for points that have no such quantity
    (index -1).
    """

    column: NDArray[np.intp]
    exact: Floats

    def of(self, theta: Floats, index: NDArray[np.intp]) -> Floats:
        """Values for points that name theirs by ``index``, shape (points,)."""
        every: Floats = np.where(self.column == HELD, self.exact, theta[self.column])
        return every[index]

    def add(self, rows: Floats, index: NDArray[np.intp], slope: Floats) -> None:
        """Add a derivative, shape (points,), to rows of derivatives, shape (points, n)."""
        column = self.column[index]
        free = np.flatnonzero(column != HELD)
        rows[free, column[free]] += slope[free]


@dataclass(frozen=True)
class Slopes:
    """Derivatives with the shared unknowns, of which a point touches no more than one of each kind.

    Parameters
    ----------
    column
        The unknowns that each point touches, shape (points, kinds).
    value
        Derivatives of its rows with them, shape (points, rows, kinds); zero where the column is
        :data:`HELD`.
    """

    column: NDArray[np.intp]
    value: Floats

    def dense(self, unknowns: int) -> Floats:
        """The same with every unknown, shape (points, rows, unknowns)."""
        points, rows, _ = self.value.shape
        # What is held falls into one column more, the last, which is left out.
        whole = np.zeros((points, rows, unknowns + 1))
        np.put_along_axis(whole, self.column[:, None, :], self.value, axis=2)
        return whole[:, :, :-1]

    def variance(self, covariance: Floats) -> Floats:
        """Variance of each point's first row by the unknowns' covariance, shape (points,)."""
        among = covariance[self.column[:, :, None], self.column[:, None, :]]
        first = self.value[:, :1]
        variance: Floats = (first @ among @ first.transpose(0, 2, 1))[:, 0, 0]
        return variance


@dataclass(frozen=True)
class Columns:
    """The shared unknowns in their order, and where each quantity finds itself among them."""

    unknowns: tuple[Unknown, ...]
    zone: Quantity
    apart: Quantity
    direct: Quantity
    scale: Quantity
    crossing: Quantity
    offset: Quantity
    separation: Quantity
    height: Quantity
    face: Quantity
    meter: Quantity
    early: Quantity
    moveout: Quantity
    tilt: Quantity

    @property
    def names(self) -> tuple[str, ...]:
        """Names in their order."""
        return tuple(unknown.name for unknown in self.unknowns)

    @property
    def means(self) -> Floats:
        """Values beforehand, shape (n,)."""
        return np.array([unknown.mean for unknown in self.unknowns])

    def prior_rows(self, theta: Floats) -> tuple[Floats, Floats]:
        """Whitened residuals (known,) and derivatives (known, n) of what is known beforehand."""
        u = np.array([unknown.u for unknown in self.unknowns])
        known = np.flatnonzero(np.isfinite(u))
        rows = np.zeros((len(known), len(u)))
        rows[np.arange(len(known)), known] = 1 / u[known]
        return (self.means[known] - theta[known]) / u[known], rows


KINDS = tuple(field.name for field in fields(Columns) if field.name != "unknowns")
"""Kinds of shared unknowns; a point touches at most one of each."""


def columns(setting: Setting) -> Columns:
    """The order of a setting's unknowns."""
    unknowns: list[Unknown] = []

    def put(group: str, *items: tuple[str, float, float]) -> Quantity:
        column = []
        for name, mean, u in items:
            column.append(HELD if u == 0 else len(unknowns))
            if u != 0:
                unknowns.append(Unknown(name, group, mean, u))
        exact = [mean for _, mean, _ in items]
        return Quantity(np.array([*column, HELD], dtype=np.intp), np.array([*exact, 0.0]))

    zones, antennas, lines = setting.zones, setting.antennas, setting.lines
    quantities = {
        "zone": put(
            "permittivity beforehand",
            *(
                (
                    f"ln_permittivity:{z.id}",
                    math.log(z.permittivity),
                    z.permittivity_u / z.permittivity,
                )
                for z in zones
            ),
        ),
        "apart": put(
            "difference between lines",
            *((f"ln_permittivity_apart:{n.id}", 0.0, n.apart_u) for n in lines),
        ),
        "direct": put(
            "direct wave's pick", *((f"direct_ns:{n.id}", 0.0, n.direct_u_ns) for n in lines)
        ),
        "scale": put(
            "distance scale", *((f"ln_distance_scale:{n.id}", 0.0, n.scale_u) for n in lines)
        ),
        "crossing": put(
            "crossing angle", *((f"ln_crossing:{n.id}", n.crossing, n.crossing_u) for n in lines)
        ),
        "offset": put(
            "antenna's time offset",
            *((f"time_offset_ns:{a.id}", a.time_offset_ns, a.time_offset_u_ns) for a in antennas),
        ),
        "separation": put(
            "antenna separation",
            *((f"separation_mm:{a.id}", a.separation_mm, a.separation_u_mm) for a in antennas),
        ),
        "height": put(
            "antenna height",
            *((f"height_mm:{a.id}", a.height_unknown, a.height_u_mm) for a in antennas),
        ),
        "face": put(
            "bars above the back face",
            *((f"face_share:{index}", 0.0, u) for index, u in enumerate(setting.faces)),
        ),
        "meter": put(
            "cover meter, shared by its readings",
            *((f"meter:{name}", 0.0, 1.0) for name in setting.meters),
        ),
        "early": put(
            "bars' early arrival", ("bars_early_ns", setting.early_ns, setting.early_u_ns)
        ),
        "tilt": put("model of the curvature", ("tilt_per_ns", 0.0, setting.tilt_u)),
        "moveout": put(
            "model of the curvature", ("ln_moveout", setting.moveout, setting.moveout_u)
        ),
    }
    return Columns(tuple(unknowns), **quantities)
