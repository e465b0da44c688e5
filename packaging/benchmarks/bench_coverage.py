"""How often the 95 % intervals hold the truth, on lines drawn from the estimator's own priors.

Counted per line: a line's share of covers (and of back-face points) whose interval holds the truth is one
value, and its permittivity is one. Printed with the median expanded uncertainties, and the ratio of the
linear interval to a Monte Carlo one (JCGM 101).
"""

import math
import sys
import time
from dataclasses import replace

import numpy as np

from depthwright.depth.montecarlo import drawn_depths
from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line

LINES = 400
COVERAGE_95 = 1.96
KINDS = {
    "nothing but the typical permittivity": Evidence(ties=0, curvature=False),
    "curvature": Evidence(ties=0),
    "one reading": Evidence(ties=1, curvature=False),
    "one reading and curvature": Evidence(ties=1),
    "two readings": Evidence(ties=2, curvature=False),
    "two readings and curvature": Evidence(ties=2),
    "one reading, curvature and a hole": Evidence(ties=1, hole=True),
}


def held(evidence, seed):
    """Share of covers and of thicknesses held on one line, whether its permittivity is, and both median U."""
    drawn = draw_line(seed, evidence)
    results = evaluate(drawn.job)
    rows = results.lines["line-1"]
    covers = [
        abs(bar.cover.value_mm - truth) < COVERAGE_95 * bar.cover.u_mm
        for bar, truth in zip(rows.bars, drawn.covers_mm, strict=True)
    ]
    faces = [
        abs(anchor.depth.value_mm - drawn.thickness_mm) < COVERAGE_95 * anchor.depth.u_mm
        for anchor in rows.faces[0].anchors
        if anchor.tie is None
    ]
    off = math.log(results.permittivity / drawn.permittivity)
    velocity = abs(off) < COVERAGE_95 * results.permittivity_u / results.permittivity
    spread = [bar.cover.expanded_mm for bar in rows.bars]
    return (
        np.mean(covers),
        np.mean(faces),
        velocity,
        np.median(spread),
        rows.faces[0].median.expanded_mm,
    )


def monte_carlo_ratio(evidence, seeds, draws=400):
    """Linear standard uncertainty of the last back-face point against that of a Monte Carlo, per line."""
    ratios = []
    for seed in seeds:
        results = evaluate(draw_line(seed, evidence).job)
        setting = results.posterior.model.setting
        sample = drawn_depths(results.points, setting, draws, np.random.default_rng(seed))[:, -1]
        low, high = np.nanpercentile(sample, [2.5, 97.5])
        linear = results.posterior.depths(results.points).u_mm[-1]
        ratios.append(2 * COVERAGE_95 * linear / (high - low))
    return np.array(ratios)


def main():
    lines = int(sys.argv[1]) if len(sys.argv) > 1 else LINES
    print(
        "%d lines each; covers, thicknesses and velocity held by 95 %% intervals; median U in mm"
        % lines
    )
    for name, evidence in KINDS.items():
        start = time.perf_counter()
        found = np.array([held(evidence, seed) for seed in range(lines)])
        share = found[:, :3].mean(axis=0)
        print(
            "%-38s covers %.3f  thickness %.3f  velocity %.3f   U cover %5.1f  thickness %5.1f   (%.0f s)"
            % (name, *share, *np.median(found[:, 3:], axis=0), time.perf_counter() - start)
        )
    ratios = monte_carlo_ratio(replace(KINDS["one reading"]), range(10))
    print("linear interval / Monte Carlo interval of the thickness, ten lines with one reading:")
    print("  median %.2f, %.2f to %.2f" % (np.median(ratios), ratios.min(), ratios.max()))


if __name__ == "__main__":
    main()
