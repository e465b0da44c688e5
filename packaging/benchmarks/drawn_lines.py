"""Forty and more lines of full waves with truth drawn by chance, kept in the user's cache by their seed.

Scenes: covers 30 to 80 mm, spacing 70 to 250 mm, permittivity 5.5 to 11, loss, aggregate, level and sloping
back faces, a lower mat under every fifth. The traces get jitter and white noise at -40 dB of the direct
wave's peak. The waves are two-dimensional; the antenna is that of the sample data.
"""

import hashlib
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import platformdirs
import scipy.ndimage

from depthwright import wave
from depthwright.simulate.fdtd import CELL_MM, simulate_line
from depthwright.simulate.scene import AntennaPair, Bar, Scene

LINES = 40
PAIR = AntennaPair(separation_mm=40.0, height_mm=2.5, centre_frequency_ghz=2.0)
DT_NS, SPACING_MM, LENGTH_MM = 0.016, 5.0, 600.0
BEYOND_MM = 110.0
"""How far beyond both ends the bars go on."""
AFTER_FACE_NS = 1.8
NOISE = 0.01
JITTER_NS = 0.020


@dataclass(frozen=True)
class DrawnLine:
    """A scene and its traces, shape (traces, samples)."""

    seed: int
    scene: Scene
    traces: np.ndarray

    @property
    def bars(self):
        """The bars whose apex lies under a trace."""
        return tuple(bar for bar in self.scene.bars if 0 <= bar.position_mm <= LENGTH_MM)


def draw_scene(seed):
    """A scene by its seed."""
    random = np.random.default_rng([seed, 7])
    permittivity = float(random.uniform(5.5, 11.0))
    diameter = float(random.choice((10.0, 12.0, 16.0, 20.0)))
    spacing = float(random.uniform(70.0, 250.0))
    nominal = float(random.uniform(30.0, 80.0))
    scatter = float(random.choice((0.0, 6.0, 12.0)))
    bars, position = [], -BEYOND_MM + float(random.uniform(0.0, spacing))
    while position <= LENGTH_MM + BEYOND_MM:
        cover = float(np.clip(nominal + scatter * random.uniform(-1, 1), 30.0, 80.0))
        bars.append(Bar(_on_grid(position), _on_grid(cover), diameter))
        position += spacing * float(random.uniform(0.9, 1.1))
    thickness = float(random.uniform(max(140.0, nominal + 70.0), 230.0))
    if seed % 5 == 4:
        thickness = max(thickness, 190.0)
        deep = thickness - float(random.uniform(45.0, 60.0)) - diameter
        bars += [Bar(_on_grid(b.position_mm + spacing / 2), _on_grid(deep), diameter) for b in bars]
    slope = float(random.uniform(-20.0, 20.0)) if seed % 3 == 1 else 0.0
    return Scene(
        permittivity=permittivity,
        conductivity_s_per_m=float(random.uniform(0.002, 0.012)),
        face_mm=(0.0, LENGTH_MM),
        thickness_mm=(thickness, thickness + slope),
        bars=tuple(bars),
        aggregate_spread=float(random.choice((0.0, 0.3, 0.6))),
        seed=seed,
    )


def _on_grid(length_mm):
    return CELL_MM * round(length_mm / CELL_MM)


def clean_traces(seed):
    """The waves of a scene without noise, from the cache where they are there."""
    scene = draw_scene(seed)
    deepest = wave.travel_time(
        max(scene.thickness_mm), scene.permittivity, PAIR.separation_mm, PAIR.height_mm
    )
    samples = round((float(deepest.time_ns) + AFTER_FACE_NS) / DT_NS)
    told = repr((scene, PAIR, DT_NS, SPACING_MM, LENGTH_MM, samples, CELL_MM))
    name = f"{seed:03d}-{hashlib.sha256(told.encode()).hexdigest()[:12]}.npy"
    kept = Path(platformdirs.user_cache_dir("depthwright")) / "drawn_lines" / name
    if not kept.exists():
        positions = np.arange(0.0, LENGTH_MM + 1, SPACING_MM)
        traces = simulate_line(scene, PAIR, positions, DT_NS, samples)
        kept.parent.mkdir(parents=True, exist_ok=True)
        part = kept.with_suffix(".part.npy")
        np.save(part, traces)
        part.replace(kept)
    return np.load(kept)


def drawn_line(seed):
    """A line with its jitter and its noise."""
    clean = clean_traces(seed)
    random = np.random.default_rng([seed, 11])
    late = random.uniform(-JITTER_NS, JITTER_NS, len(clean)) / DT_NS
    moved = np.stack(
        [scipy.ndimage.shift(trace.astype(np.float64), by, order=5, mode="nearest")
         for trace, by in zip(clean, late, strict=True)]
    )  # fmt: skip
    peak = np.abs(np.median(clean, axis=0)).max()
    noisy = moved + NOISE * peak * random.standard_normal(clean.shape)
    return DrawnLine(seed, draw_scene(seed), noisy.astype(np.float32))


def drawn_lines(count=LINES, workers=2):
    """The first so many lines; what is not in the cache takes about two minutes a line."""
    with ProcessPoolExecutor(workers) as pool:
        for done, _ in enumerate(pool.map(clean_traces, range(count)), start=1):
            sys.stderr.write(f"\rdrawn lines at hand: {done} of {count}")
    sys.stderr.write("\n")
    return [drawn_line(seed) for seed in range(count)]
