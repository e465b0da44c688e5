"""How well bars and back faces are found and measured with nobody at hand, against truth.

    bench_finding.py [LINES] [FOLDER]

LINES full-wave lines of the project's own simulator (40; two-dimensional, kept in the user's cache, two
minutes a line where they are not; those beyond 40 are told apart as well, since thresholds were set on the
first 40), and the lines of a FOLDER with their truth (``judged.truths_in`` says in
what form). The ten lines that come out worst are kept as pictures.
"""

import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise, repeat
from pathlib import Path

import numpy as np
from bench_seeing import long_scan
from drawn_lines import LINES, drawn_lines
from finding_pictures import picture_of
from judged import TIES, drawn_truth, judged, truths_in
from timing import best_s

from depthwright.files.segy_write import write_segy
from depthwright.marking.chain import mark_line
from depthwright.marking.request import Request
from depthwright_app.mark_pool import run
from depthwright_app.mark_work import DIED, Task, work

WORST = 10
UPPER_MM = 80.0
"""The deepest cover of an upper mat; deeper bars lie under others."""
EDGES = (0.0, 0.5, 0.75, 1.0, 1.5, np.inf)
"""Cover over the wavelength in the concrete."""


def both(judge, truths):
    """All lines with all kinds of ties, on two processes."""
    with ProcessPoolExecutor(2) as pool:
        for ties in TIES:
            yield from (one for one in pool.map(judge, truths, repeat(ties)) if one is not None)


def judged_drawn(seed, ties):
    return judged(drawn_truth(seed), ties)


def judged_filed(place, ties):
    folder, index = place
    return judged(list(truths_in(folder))[index], ties)


def seed_of(name):
    return int(name.split()[-1])


def allowed_mm(cover, ties):
    """The mean error aimed at: 3 mm or 6 % without a tie, 1.5 mm or 3 % with one."""
    return max(3.0, 0.06 * cover) if ties == TIES[0] else max(1.5, 0.03 * cover)


def table(name, lines):
    print(f"\n{name}")
    print(
        "ties       lines  recall  precision  position  cover: mean  of aim  held    face: lines  "
        "median  held  where 6 dB"
    )
    for ties in TIES:
        rows = [line for line in lines if line.ties == ties]
        if not rows:
            continue
        bars, matched = sum(r.bars for r in rows), sum(r.matched for r in rows)
        wrong = sum(r.wrong for r in rows)
        covers = [c for r in rows for c in r.covers]
        faces = [f for r in rows for f in r.faces]
        seen, found = sum(r.visible for r in rows), sum(r.visible_found for r in rows)
        print(
            "%-9s  %5d  %6.3f  %9.3f  %5.1f mm  %8.2f mm  %6.2f  %5.3f   %5d of %3d  %4.1f %%  %5.3f  %8.2f"
            % (
                ties,
                len(rows),
                matched / max(bars, 1),
                matched / max(matched + wrong, 1),
                np.median([off for r in rows for off in r.off_mm] or [np.nan]),
                np.mean([abs(error) for _, error, _, _ in covers] or [np.nan]),
                np.mean(
                    [abs(error) / allowed_mm(c, ties) for _, error, c, _ in covers] or [np.nan]
                ),
                np.mean([held for *_, held in covers] or [np.nan]),
                sum(bool(r.faces) for r in rows),
                len(rows),
                100 * np.median([abs(error) for error, _ in faces] or [np.nan]),
                np.mean([held for _, held in faces] or [np.nan]),
                found / max(seen, 1),
            )
        )
        for row in rows:
            if row.failed:
                print(f"  {row.name}: {row.failed}")


def by_wavelength(lines):
    print("\nmean error of the cover, mm, by cover over wavelength (bars)")
    for ties in TIES:
        covers = [c for line in lines if line.ties == ties for c in line.covers]
        cells = []
        for low, high in pairwise(EDGES):
            errors = [abs(error) for share, error, _, _ in covers if low <= share < high]
            mean = f"{np.mean(errors):.2f} ({len(errors)})" if errors else "-"
            cells.append(f"{low:g}..{high:g}: {mean}")
        print("%-9s  %s" % (ties, "   ".join(cells)))


def by_mat(lines):
    """Recall of upper bars and of those under others."""
    rows = [line for line in lines if line.ties == TIES[0]]
    cells = []
    for name, fits in (
        ("upper mats", lambda cover: cover <= UPPER_MM),
        ("lower", lambda cover: cover > UPPER_MM),
    ):
        bars = sum(fits(cover) for row in rows for cover in row.depths_mm)
        missed = sum(fits(cover) for row in rows for cover in row.missed_mm)
        cells.append(f"{name} {1 - missed / max(bars, 1):.3f} ({bars} bars)")
    print(f"\nrecall without a tie: {', '.join(cells)}")


def worst_pictures(lines, made):
    """Pictures of the lines with the most bars missed or wrong, then the largest errors, without a tie."""
    alone = [line for line in lines if line.ties == TIES[0]]

    def badness(line):
        errors = [abs(error) / allowed_mm(c, line.ties) for _, error, c, _ in line.covers]
        faces = [abs(error) for error, _ in line.faces]
        return (
            line.bars
            - line.matched
            + line.wrong
            + np.mean(errors or [0])
            + 10 * np.median(faces or [0.1])
        )

    folder = Path(tempfile.mkdtemp(prefix="depthwright-worst-"))
    for line in sorted(alone, key=badness, reverse=True)[:WORST]:
        picture_of(made(line.name), folder / f"{line.name.replace(' ', '-')}.png")
    print(f"\nthe {min(WORST, len(alone))} worst lines are pictures in {folder}")


def speed():
    """The whole chain on long lines, and on two processes against one."""
    taken = {}
    for traces in (1000, 4000):
        scan = long_scan(traces)
        taken[traces] = best_s(
            lambda scan=scan: mark_line(scan, Request()), 3 if traces == 1000 else 1
        )
    print("\n1,000 traces x 512: %.2f s; four times as many: %.2f times as long"
          % (taken[1000], taken[4000] / taken[1000]))  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        scan, tasks = long_scan(1000), []
        for number in range(16):
            file = Path(folder) / f"L{number}.sgy"
            samples = scan.block(0, scan.traces)
            write_segy(file, samples, scan.dt_ns, scan.positions_mm, separation_mm=40.0)
            tasks.append(Task(file, file.name, Request(), file.with_suffix(".json"), False))
        spent = []
        for workers in (1, 2):
            start = time.perf_counter()
            assert not any(done.failed for _, done in run(tasks, workers, work, DIED))
            spent.append(time.perf_counter() - start)
    print("16 such files: %.1f s on one process, two are %.2f times as fast"
          % (spent[0], spent[0] / spent[1]))  # fmt: skip


def main(count=LINES, folder=None):
    seeds = range(int(count))
    drawn_lines(len(seeds))
    lines = list(both(judged_drawn, seeds))
    table(f"{len(seeds)} lines of the project's own simulator (two-dimensional full waves)", lines)
    by_mat(lines)
    by_wavelength(lines)
    fresh = [line for line in lines if seed_of(line.name) >= LINES]
    if fresh:
        table(f"of these, {len(seeds) - LINES} on which no limit of the program was set", fresh)
        by_mat(fresh)
    worst_pictures(lines, lambda name: drawn_truth(seed_of(name)))
    if folder is not None:
        truths = {truth.name: truth for truth in truths_in(folder)}
        filed = list(both(judged_filed, [(folder, index) for index in range(len(truths))]))
        table(f"{len(truths)} lines of {folder}", filed)
        by_mat(filed)
        by_wavelength(filed)
        worst_pictures(filed, truths.get)
    speed()


if __name__ == "__main__":
    main(*sys.argv[1:])
