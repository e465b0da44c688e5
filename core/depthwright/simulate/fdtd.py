"""Finite differences in time: a line source and a line receiver over a scene (TM: Ez, Hx, Hy).

The scheme of Yee (1966, IEEE Trans. Antennas Propag. 14, 302) with exponential steps for loss and the
split-field absorbing layer of Berenger (1994, J. Comput. Phys. 114, 185) around the window. Units
inside: mm, ns; fields scaled so that the impedance of free space is 1. Only a window that moves with
the antenna pair is computed, so a line's cost grows with its traces alone.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.interpolate
from numpy.typing import NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.simulate.scene import AntennaPair, Materials, Scene, rasterise

Floats = NDArray[np.float64]
Field = NDArray[np.float32]

CELL_MM = 1.25
LAYER_CELLS = 14
REACH_MM = 215.0
AIR_MM = 25.0
LEAD_PERIODS = 1.4
ETA_0_OHM = 376.730313668
"""Impedance of free space."""


def ricker(time_ns: Floats, frequency_ghz: float) -> Floats:
    """Ricker pulse with its centre :data:`LEAD_PERIODS` periods after zero."""
    phase = (np.pi * frequency_ghz * (time_ns - LEAD_PERIODS / frequency_ghz)) ** 2
    pulse: Floats = (1 - 2 * phase) * np.exp(-phase)
    return pulse


def simulate_line(
    scene: Scene,
    antenna: AntennaPair,
    positions_mm: Floats,
    dt_ns: float,
    samples: int,
    report: Callable[[float], None] | None = None,
) -> Field:
    """Received field for each midpoint, shape (traces, samples).

    Positions, separation and height must be whole cells of :data:`CELL_MM`; so should the bars' places
    and covers where they matter to a fraction of a cell.
    """
    edge = REACH_MM + antenna.separation_mm / 2 + LAYER_CELLS * CELL_MM
    edge = CELL_MM * round(edge / CELL_MM)
    deepest = CELL_MM * np.ceil(max(scene.thickness_mm) / CELL_MM)
    depth_edge = AIR_MM + LAYER_CELLS * CELL_MM
    whole = rasterise(
        scene,
        CELL_MM,
        # The scene's own extent, so that the aggregate is the same whichever traces are asked for.
        min(float(positions_mm.min()), scene.face_mm[0]) - edge,
        max(float(positions_mm.max()), scene.face_mm[-1]) + edge,
        -depth_edge,
        float(deepest) + depth_edge,
    )
    columns = round(2 * edge / CELL_MM) + 1
    traces = np.empty((len(positions_mm), samples), dtype=np.float32)
    for index, position in enumerate(positions_mm):
        first = round((position - edge - whole.first_mm) / CELL_MM)
        window = _window(whole, first, columns)
        traces[index] = _trace(window, antenna, float(position), dt_ns, samples)
        if report is not None:
            report((index + 1) / len(positions_mm))
    return traces


def _window(whole: Materials, first: int, columns: int) -> Materials:
    part = slice(first, first + columns)
    return Materials(
        cell_mm=whole.cell_mm,
        first_mm=whole.first_mm + first * whole.cell_mm,
        top_mm=whole.top_mm,
        permittivity=whole.permittivity[part],
        conductivity_s_per_m=whole.conductivity_s_per_m[part],
        conductor=whole.conductor[part],
    )


def _trace(
    materials: Materials, antenna: AntennaPair, position_mm: float, dt_ns: float, samples: int
) -> Field:
    """One received trace, resampled to ``dt_ns``, shape (samples,)."""
    cell = materials.cell_mm
    step_ns = 0.99 * cell / (C_MM_PER_NS * np.sqrt(2))
    steps = int(np.ceil((samples - 1) * dt_ns / step_ns)) + 4
    row = round((-antenna.height_mm - materials.top_mm) / cell)
    source, receiver = (
        round((position_mm + side * antenna.separation_mm / 2 - materials.first_mm) / cell)
        for side in (-1, 1)
    )
    current = ricker((np.arange(steps) + 0.5) * step_ns, antenna.centre_frequency_ghz)
    received = run(materials, step_ns, current, (source, row), (receiver, row))
    spline = scipy.interpolate.CubicSpline(np.arange(1, steps + 1) * step_ns, received)
    trace: Field = spline(np.arange(samples) * dt_ns).astype(np.float32)
    trace[0] = 0.0
    return trace


@dataclass(frozen=True)
class _Steps:
    """What each update multiplies by: kept values and differences, broadcast over the grid."""

    keep_x: Field
    take_x: Field
    keep_z: Field
    take_z: Field
    hold_hy: Field
    gain_hy: Field
    hold_hx: Field
    gain_hx: Field


def run(
    materials: Materials,
    step_ns: float,
    current: Floats,
    source: tuple[int, int],
    receiver: tuple[int, int],
) -> Floats:
    """Field at the receiver's node after each step, shape (steps,), for a line current.

    ``source`` and ``receiver`` are (column, row) nodes.
    """
    by = _coefficients(materials, step_ns)
    shape = materials.permittivity.shape
    ez_x, ez_z, ez = (np.zeros(shape, dtype=np.float32) for _ in range(3))
    hy = np.zeros((shape[0] - 1, shape[1]), dtype=np.float32)
    hx = np.zeros((shape[0], shape[1] - 1), dtype=np.float32)
    dy, dx = np.empty_like(hy), np.empty_like(hx)
    inner_x, inner_z = np.empty_like(ez_x[1:-1]), np.empty_like(ez_z[:, 1:-1])
    free = (~materials.conductor).astype(np.float32)
    push = current.astype(np.float32) * np.float32(step_ns / materials.permittivity[source])
    received = np.empty(len(current))
    for index in range(len(current)):
        np.subtract(ez[1:], ez[:-1], out=dy)
        dy *= by.gain_hy
        hy *= by.hold_hy
        hy += dy
        np.subtract(ez[:, 1:], ez[:, :-1], out=dx)
        dx *= by.gain_hx
        hx *= by.hold_hx
        hx -= dx
        np.subtract(hy[1:], hy[:-1], out=inner_x)
        inner_x *= by.take_x[1:-1]
        ez_x *= by.keep_x
        ez_x[1:-1] += inner_x
        np.subtract(hx[:, 1:], hx[:, :-1], out=inner_z)
        inner_z *= by.take_z[:, 1:-1]
        ez_z *= by.keep_z
        ez_z[:, 1:-1] -= inner_z
        ez_x[source] -= push[index]
        np.add(ez_x, ez_z, out=ez)
        ez *= free
        received[index] = ez[receiver]
    return received


def _coefficients(materials: Materials, step_ns: float) -> _Steps:
    """Exponential steps: each field decays by its rate (1/ns) and is driven by its curl."""
    cell = materials.cell_mm
    columns, rows = materials.permittivity.shape
    eps = materials.permittivity.astype(np.float64)
    loss = materials.conductivity_s_per_m * ETA_0_OHM * 1e-3 * C_MM_PER_NS / eps
    layer_x, layer_z = _layer(np.arange(columns), columns), _layer(np.arange(rows), rows)
    half_x = _layer(np.arange(columns - 1) + 0.5, columns)
    half_z = _layer(np.arange(rows - 1) + 0.5, rows)
    drive = C_MM_PER_NS / cell

    def electric(rate: Floats) -> tuple[Field, Field]:
        keep = np.exp(-rate * step_ns)
        take = drive / eps * _spread(rate, step_ns)
        return keep.astype(np.float32), take.astype(np.float32)

    def magnetic(rate: Floats) -> tuple[Field, Field]:
        return (
            np.exp(-rate * step_ns).astype(np.float32),
            (drive * _spread(rate, step_ns)).astype(np.float32),
        )

    keep_x, take_x = electric(loss + layer_x[:, None])
    keep_z, take_z = electric(loss + layer_z[None, :])
    hold_hy, gain_hy = magnetic(half_x[:, None])
    hold_hx, gain_hx = magnetic(half_z[None, :])
    return _Steps(keep_x, take_x, keep_z, take_z, hold_hy, gain_hy, hold_hx, gain_hx)


def _spread(rate: Floats, step_ns: float) -> Floats:
    """(1 - exp(-rate dt)) / rate, and dt where nothing decays."""
    safe = np.where(rate > 0, rate, 1.0)
    return np.where(rate > 0, -np.expm1(-safe * step_ns) / safe, step_ns)


def _layer(node: NDArray[np.generic], count: int) -> Floats:
    """Decay rate (1/ns) of the absorbing layer: cubic, for a reflection of about 1e-6 at right angles."""
    into = np.maximum(LAYER_CELLS - node, node - (count - 1 - LAYER_CELLS))
    depth = np.clip(into.astype(np.float64) / LAYER_CELLS, 0, None)
    thickness_ns = LAYER_CELLS * CELL_MM / C_MM_PER_NS
    rate: Floats = 4 * np.log(1e6) / (2 * thickness_ns) * depth**3
    return rate
