"""What is in the concrete, and the antenna pair above it. Lengths in mm, the surface at depth 0."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bar:
    """A perfectly conducting round bar across the line; cover is to its top."""

    position_mm: float
    cover_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class Hollow:
    """An air-filled round hole across the line: an empty conduit."""

    position_mm: float
    cover_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class Scene:
    """A slab with air above and below.

    Parameters
    ----------
    permittivity, conductivity_s_per_m
        Of the concrete; the permittivity is the mean where aggregate varies it.
    face_mm, thickness_mm
        Points of the back face along the line and the thickness there; straight between them.
    bars, hollows
        What is inside.
    aggregate_spread, aggregate_mm, seed
        Standard deviation of the permittivity, its correlation length, and the random seed.
    """

    permittivity: float
    conductivity_s_per_m: float
    face_mm: tuple[float, ...]
    thickness_mm: tuple[float, ...]
    bars: tuple[Bar, ...] = ()
    hollows: tuple[Hollow, ...] = ()
    aggregate_spread: float = 0.0
    aggregate_mm: float = 8.0
    seed: int = 0

    def thickness_at(self, position_mm: Floats) -> Floats:
        """Thickness along the line, mm."""
        return np.interp(position_mm, self.face_mm, self.thickness_mm)


@dataclass(frozen=True)
class AntennaPair:
    """Source and receiver along the line, a little above the surface."""

    separation_mm: float
    height_mm: float
    centre_frequency_ghz: float


@dataclass(frozen=True)
class Materials:
    """The scene on a grid: arrays of shape (columns, rows), rows downward.

    ``first_mm`` and ``top_mm`` are the position and depth of node (0, 0).
    """

    cell_mm: float
    first_mm: float
    top_mm: float
    permittivity: NDArray[np.float32]
    conductivity_s_per_m: NDArray[np.float32]
    conductor: NDArray[np.bool_]


def rasterise(
    scene: Scene, cell_mm: float, first_mm: float, last_mm: float, top_mm: float, bottom_mm: float
) -> Materials:
    """The scene on a grid of square cells.

    A node at the surface or the back face gets the mean of what its cell holds on either side, which
    places the face to a small part of a cell. A bar's nodes are those within its radius.
    """
    x: Floats = first_mm + cell_mm * np.arange(round((last_mm - first_mm) / cell_mm) + 1.0)
    z: Floats = top_mm + cell_mm * np.arange(round((bottom_mm - top_mm) / cell_mm) + 1.0)
    below_surface = np.clip(z / cell_mm + 0.5, 0, 1)[None, :]
    above_face = np.clip((scene.thickness_at(x)[:, None] - z[None, :]) / cell_mm + 0.5, 0, 1)
    share = below_surface * above_face
    concrete = scene.permittivity + _aggregate(scene, cell_mm, len(x), len(z))
    for hollow in scene.hollows:
        share = share * ~_disc(hollow, x, z)
    conductor = np.zeros(share.shape, dtype=bool)
    for bar in scene.bars:
        conductor |= _disc(bar, x, z)
    return Materials(
        cell_mm=cell_mm,
        first_mm=first_mm,
        top_mm=top_mm,
        permittivity=(1 + share * (concrete - 1)).astype(np.float32),
        conductivity_s_per_m=(share * scene.conductivity_s_per_m).astype(np.float32),
        conductor=conductor,
    )


def _disc(thing: Bar | Hollow, x: Floats, z: Floats) -> NDArray[np.bool_]:
    radius = thing.diameter_mm / 2
    along = (x - thing.position_mm)[:, None]
    down = (z - thing.cover_mm - radius)[None, :]
    inside: NDArray[np.bool_] = along**2 + down**2 <= (radius + 1e-6) ** 2
    return inside


def _aggregate(scene: Scene, cell_mm: float, columns: int, rows: int) -> Floats:
    """Smooth random deviations of the permittivity, shape (columns, rows)."""
    if scene.aggregate_spread == 0:
        return np.zeros((columns, rows))
    random = np.random.default_rng(scene.seed).standard_normal((columns, rows))
    smooth = scipy.ndimage.gaussian_filter(random, scene.aggregate_mm / cell_mm / 2, mode="wrap")
    return np.asarray(scene.aggregate_spread * smooth / smooth.std(), dtype=np.float64)
