"""Computes the sample job: two line scans, their truth, an antenna card, a job file, and a tour.

Everything is invented; the waves are computed by finite differences (``depthwright.simulate``), not
drawn with the ray formula that the program inverts. Run it from the repository's private
environment; it takes a few minutes on two cores and writes into its own folder.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from depthwright import edits, wave
from depthwright.files.jobfile import save_job
from depthwright.files.segy import read_segy, write_segy
from depthwright.intake import take_in
from depthwright.job import Antenna, Job
from depthwright.measuring.timezero import find_direct_wave
from depthwright.results.evaluate import evaluate
from depthwright.simulate.antenna import make_card, zero_time_ns
from depthwright.simulate.fdtd import simulate_line
from depthwright.simulate.scene import AntennaPair, Bar, Hollow, Scene

HERE = Path(__file__).parent
DT_NS = 0.016
SAMPLES = 384
SPACING_MM = 5.0
NOISE_DB = -46.0
"""White noise, relative to the largest sample of the direct wave."""
READING_U_MM = 1.0
ANTENNA = AntennaPair(separation_mm=40.0, height_mm=2.5, centre_frequency_ghz=2.0)
NOTE = "Invented demo data, computed by a wave simulation. Not a real structure."

SCENES = {
    "deck-L1": Scene(
        permittivity=8.1,
        conductivity_s_per_m=0.006,
        face_mm=(0.0, 1200.0),
        thickness_mm=(160.0, 166.25),
        bars=tuple(
            Bar(position, cover, 12.0)
            for position, cover in (
                (90.0, 31.25),
                (260.0, 35.0),
                (425.0, 40.0),
                (600.0, 36.25),
                (765.0, 45.0),
                (930.0, 38.75),
                (1100.0, 33.75),
            )
        ),
        aggregate_spread=0.3,
        seed=11,
    ),
    "deck-L2": Scene(
        permittivity=8.1,
        conductivity_s_per_m=0.006,
        face_mm=(0.0, 1000.0),
        thickness_mm=(175.0, 175.0),
        bars=tuple(
            Bar(position, cover, 16.0)
            for position, cover in ((110.0, 55.0), (305.0, 58.75), (690.0, 62.5), (890.0, 57.5))
        ),
        hollows=(Hollow(500.0, 80.0, 32.0),),
        aggregate_spread=0.3,
        seed=12,
    ),
}
PLACES = {
    "deck-L1": ("grid line B, north edge", "towards grid line C"),
    "deck-L2": ("grid line C, north edge", "towards grid line D"),
}
FACE_CLICKS = {
    "deck-L1": (180.0, 345.0, 510.0, 680.0, 850.0, 1015.0),
    "deck-L2": (210.0, 400.0, 600.0, 790.0),
}


def positions(scene: Scene) -> NDArray[np.float64]:
    """Midpoints of a line, mm."""
    return np.arange(0.0, scene.face_mm[-1] + 1, SPACING_MM)


def noise_free(name: str) -> NDArray[np.float32]:
    """The waves of one line, shape (traces, samples)."""
    scene = SCENES[name]
    return simulate_line(scene, ANTENNA, positions(scene), DT_NS, SAMPLES)


def with_noise(name: str, traces: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same with white noise, seeded by the scene, scaled to a peak of 1."""
    random = np.random.default_rng(SCENES[name].seed + 1000)
    direct = np.abs(np.median(traces, axis=0)).max()
    noise = random.standard_normal(traces.shape) * direct * 10 ** (NOISE_DB / 20)
    return ((traces + noise) / direct).astype(np.float32)


def card() -> Antenna:
    """The antenna card, from bare half-spaces."""
    made = make_card(ANTENNA, DT_NS)
    return Antenna(
        id="antenna-1",
        name="Demo antenna (invented)",
        separation_mm=ANTENNA.separation_mm,
        separation_u_mm=0.0,
        height_mm=ANTENNA.height_mm,
        height_u_mm=0.0,
        direct_shift="measured",
        source="computed over bare half-spaces of permittivity 6 to 9",
        **asdict(made),
    )


def echo_ns(depth_mm: float, scene: Scene, band_ghz: float) -> float:
    """About where an echo stands in the file, ns: good enough to click near it."""
    travelled = wave.travel_time(
        depth_mm, scene.permittivity, ANTENNA.separation_mm, ANTENNA.height_mm
    )
    return float(travelled.time_ns) + zero_time_ns(ANTENNA.centre_frequency_ghz, band_ghz, DT_NS)


def readings() -> list[dict[str, Any]]:
    """Invented readings of known depths: the truth with a seeded error, rounded to whole mm."""
    random = np.random.default_rng(7)
    made = []
    for line, bar in (("deck-L1", 1), ("deck-L1", 4), ("deck-L2", 2)):
        truth = SCENES[line].bars[bar]
        made.append(
            {
                "line": line,
                "what": "bar",
                "number": bar + 1,
                "origin": "cover meter",
                "position_mm": truth.position_mm,
                "depth_mm": float(round(truth.cover_mm + READING_U_MM * random.standard_normal())),
            }
        )
    return made


def truth(antenna: Antenna) -> dict[str, Any]:
    """What the scenes hold."""
    return {
        "note": NOTE,
        "antenna": asdict(ANTENNA),
        "antenna_card": antenna.model_dump(exclude={"id"}),
        "acquisition": {
            "dt_ns": DT_NS,
            "samples": SAMPLES,
            "trace_spacing_mm": SPACING_MM,
            "noise_db": NOISE_DB,
        },
        "readings": readings(),
        "lines": {name: asdict(scene) for name, scene in SCENES.items()},
    }


def tour(antenna: Antenna) -> dict[str, Any]:
    """Clicks as a hand makes them (whole centimetres, twentieths of a ns) and the one reading to type."""
    band = antenna.centre_frequency_ghz
    clicks: list[dict[str, Any]] = []

    def click(line: str, kind: str, position: float, depth: float) -> None:
        place = {
            "position_mm": 10.0 * round(position / 10),
            "time_ns": echo_ns(depth, SCENES[line], band),
        }
        place["time_ns"] = round(20 * place["time_ns"]) / 20
        clicks.append({"line": line, "kind": kind, **place})

    for name, scene in SCENES.items():
        for bar in scene.bars:
            click(name, "bar", bar.position_mm + 6, bar.cover_mm)
        for position in FACE_CLICKS[name]:
            click(name, "face", position, float(scene.thickness_at(np.array([position]))[0]))
        for hollow in scene.hollows:
            click(name, "target", hollow.position_mm + 6, hollow.cover_mm)
    return {"note": NOTE, "clicks": clicks, "tie": readings()[0]}


def demo_job(folder: Path, antenna: Antenna) -> Job:
    """The job as a practitioner starts with it: lines and card, nothing marked."""
    job = Job(name="Footbridge deck, Sallow Weir (invented)", note=NOTE, specified_cover_mm=35.0)
    for name in SCENES:
        scan = read_segy((folder / f"{name}.sgy").resolve())
        job, line_id = take_in(job, scan, card=antenna)
        datum, direction = PLACES[name]
        direct = find_direct_wave(scan, antenna.centre_frequency_ghz)
        job = edits.change_line(
            job,
            line_id,
            datum=datum,
            direction=direction,
            distance_scale_u=0.002,
            direct={"time_ns": round(direct.time_ns, 5), "time_u_ns": round(direct.time_u_ns, 5)},
        )
    return job


def main() -> None:
    """Compute everything into a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE)
    folder = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    antenna = card()
    with ProcessPoolExecutor(2) as pool:
        for name, traces in zip(SCENES, pool.map(noise_free, SCENES), strict=True):
            write_segy(
                folder / f"{name}.sgy",
                with_noise(name, traces),
                DT_NS,
                positions(SCENES[name]),
                ANTENNA.separation_mm,
                text=f"{name}: {NOTE}",
            )
    for name, content in (
        ("antenna_card", antenna.model_dump(exclude={"id"})),
        ("truth", truth(antenna)),
        ("tour", tour(antenna)),
    ):
        (folder / f"{name}.json").write_text(json.dumps(content, indent=1) + "\n", "utf-8")
    job = demo_job(folder, antenna)
    save_job(folder / "demo.dwjob", job, evaluate(job), datetime(2026, 11, 25, tzinfo=UTC))


if __name__ == "__main__":
    main()
