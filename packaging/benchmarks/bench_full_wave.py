"""How often the intervals hold the truth on full waves, which know nothing of the ray formula.

Four invented lines are computed by finite differences, picked by snapping near the truth as a hand would,
and evaluated with the card of the sample antenna: by curvature alone, and with one reading. Counted per
line, with the median expanded uncertainties and the root mean square errors, mm.
"""

import json
import math
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from depthwright import edits, wave
from depthwright.intake import take_in
from depthwright.job import Antenna, Job, Tie
from depthwright.measuring.picking import snap_bar, snap_face, with_crest
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array
from depthwright.simulate.antenna import zero_time_ns
from depthwright.simulate.fdtd import simulate_line
from depthwright.simulate.scene import AntennaPair, Bar, Scene

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
PAIR = AntennaPair(separation_mm=40.0, height_mm=2.5, centre_frequency_ghz=2.0)
DT_NS, SAMPLES, SPACING_MM, LENGTH_MM = 0.016, 384, 5.0, 800.0
SCENES = tuple(
    Scene(
        permittivity=permittivity,
        conductivity_s_per_m=0.005,
        face_mm=(0.0, LENGTH_MM),
        thickness_mm=(thickness, thickness),
        bars=tuple(Bar(100.0 + 150.0 * i, cover, diameter) for i, cover in enumerate(covers)),
        aggregate_spread=0.3,
        seed=seed,
    )
    for seed, (permittivity, thickness, diameter, covers) in enumerate(
        (
            (6.2, 150.0, 12.0, (30.0, 42.5, 36.25, 50.0, 33.75)),
            (7.4, 180.0, 16.0, (45.0, 55.0, 38.75, 62.5, 47.5)),
            (8.6, 210.0, 12.0, (35.0, 65.0, 52.5, 40.0, 57.5)),
            (9.6, 165.0, 16.0, (32.5, 48.75, 41.25, 58.75, 36.25)),
        )
    )
)


def traces(index):
    """The waves of one scene with white noise, shape (traces, samples)."""
    scene = SCENES[index]
    positions = np.arange(0.0, LENGTH_MM + 1, SPACING_MM)
    clean = simulate_line(scene, PAIR, positions, DT_NS, SAMPLES)
    random = np.random.default_rng(index)
    noise = 0.005 * np.abs(np.median(clean, axis=0)).max()
    return (clean + noise * random.standard_normal(clean.shape)).astype(np.float32)


def marked(scene, samples):
    """The job of one line with its bars and its back face marked by snapping."""
    card = json.loads((SAMPLE / "antenna_card.json").read_text("utf-8"))
    antenna = Antenna.model_validate({**card, "id": "antenna-1"})
    scan = scan_from_array(samples, DT_NS, SPACING_MM, separation_mm=PAIR.separation_mm)
    job, line_id = take_in(Job(), scan, card=antenna)
    stage = pick_stage(job, job.line(line_id), scan)
    zero = zero_time_ns(PAIR.centre_frequency_ghz, antenna.centre_frequency_ghz, DT_NS)

    def near(depth_mm):
        return zero + float(
            wave.travel_time(
                depth_mm, scene.permittivity, PAIR.separation_mm, PAIR.height_mm
            ).time_ns
        )

    covers, face = {}, None
    for bar in scene.bars:
        pick = snap_bar(stage, bar.position_mm + 4, near(bar.cover_mm))
        if pick is None:
            continue
        job, mark = edits.add_bar(job, line_id, with_crest(stage, pick))
        job = edits.change_mark(job, line_id, mark, diameter_mm=bar.diameter_mm)
        covers[mark] = bar.cover_mm
    for position in np.arange(175.0, 700.0, 150.0):
        pick = snap_face(stage, position, near(scene.thickness_mm[0]))
        if pick is not None:
            job, face = edits.add_anchor(job, line_id, face, pick)
    return job, line_id, covers


def counted(job, line_id, covers, scene, tied):
    """Shares held (covers, thicknesses, permittivity), median U of both, and errors of both."""
    results = evaluate(job)
    rows = results.lines[line_id]
    bars = [bar for bar in rows.bars if bar.mark_id != tied]
    off = [bar.cover.value_mm - covers[bar.mark_id] for bar in bars]
    u = [bar.cover.u_mm for bar in bars]
    deep = [anchor.depth for face in rows.faces for anchor in face.anchors]
    face_off = [depth.value_mm - scene.thickness_mm[0] for depth in deep]
    log_u = results.permittivity_u / results.permittivity
    velocity = abs(math.log(results.permittivity / scene.permittivity)) < 2 * log_u
    return (
        np.mean(np.abs(off) < 2 * np.array(u)),
        np.mean(np.abs(face_off) < 2 * np.array([depth.u_mm for depth in deep])),
        velocity,
        2 * np.median(u),
        2 * np.median([depth.u_mm for depth in deep]),
        np.sqrt(np.mean(np.square(off))),
        np.sqrt(np.mean(np.square(face_off))),
    )


def main():
    start = time.perf_counter()
    with ProcessPoolExecutor(2) as pool:
        waves = list(pool.map(traces, range(len(SCENES))))
    print("%d full-wave lines computed in %.0f s" % (len(SCENES), time.perf_counter() - start))
    found = {"curvature alone": [], "one reading and curvature": [], "one reading alone": []}
    for scene, samples in zip(SCENES, waves, strict=True):
        job, line_id, covers = marked(scene, samples)
        found["curvature alone"].append(counted(job, line_id, covers, scene, ""))
        mark = list(covers)[len(covers) // 2]
        tie = Tie(depth_mm=covers[mark], plus_minus_mm=1.0)
        job = edits.tie_mark(job, line_id, mark, tie)
        found["one reading and curvature"].append(counted(job, line_id, covers, scene, mark))
        zone = job.zones[0].id
        plain = edits.change_zone(job, zone, curvature=False)
        found["one reading alone"].append(counted(plain, line_id, covers, scene, mark))
    for name, rows in found.items():
        print(
            "%-28s covers %.2f  thickness %.2f  velocity %.2f   U cover %4.1f  thickness %4.1f   "
            "rms cover %4.1f  thickness %4.1f" % (name, *np.mean(rows, axis=0))
        )


if __name__ == "__main__":
    main()
