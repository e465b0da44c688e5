"""The line as it is shown: the recipe run over all traces, narrowed to a picture's width."""

from collections.abc import Callable

import numpy as np

from depthwright.processing.recipe import Recipe, Setting, apply, background_trace
from depthwright.scan import BLOCK_TRACES, Block, Scan

MOST_COLUMNS = 4096


def shown_image(
    scan: Scan,
    recipe: Recipe,
    setting: Setting,
    report: Callable[[float], None] | None = None,
    most_columns: int = MOST_COLUMNS,
) -> Block:
    """Samples to be shown, shape (columns, samples), columns spread evenly over the distance.

    The first column begins at the line's smaller edge and the last ends at its larger
    (:attr:`Scan.edges_mm`), whichever way and however unevenly it was walked. Where traces share a
    column the sample with the largest magnitude stands for them, so that a feature one trace wide
    stays visible.
    """
    background = background_trace(scan) if recipe.remove_background else None
    together = -(-scan.traces // most_columns)
    size = max(BLOCK_TRACES // together, 1) * together
    columns = []
    for first, block in scan.blocks(size):
        shown = apply(recipe, block, scan.dt_ns, setting, background)
        columns.append(_narrow(shown, together))
        if report is not None:
            report((first + len(block)) / scan.traces)
    return _along_distance(scan, np.concatenate(columns), together, most_columns)


def _along_distance(scan: Scan, columns: Block, together: int, most_columns: int) -> Block:
    """For each even step of distance the column recorded nearest to it."""
    starts = np.arange(0, scan.traces, together)
    counts = np.diff(np.append(starts, scan.traces))
    centres = np.add.reduceat(scan.positions_mm, starts) / counts
    if centres[0] > centres[-1]:
        centres, columns = centres[::-1], columns[::-1]
    left, right = scan.edges_mm
    steps = round((right - left) / ((scan.trace_spacing_mm or 1.0) * together))
    count = min(max(steps, len(columns)), max(most_columns, len(columns)))
    even = left + (np.arange(count) + 0.5) * (right - left) / count
    spread: Block = columns[np.searchsorted((centres[1:] + centres[:-1]) / 2, even)]
    return spread


def _narrow(block: Block, together: int) -> Block:
    if together == 1:
        return block
    missing = -len(block) % together
    padded = np.pad(block, ((0, missing), (0, 0)), mode="edge")
    groups = padded.reshape(-1, together, block.shape[1])
    strongest = np.abs(groups).argmax(axis=1)[:, None, :]
    narrowed: Block = np.take_along_axis(groups, strongest, axis=1)[:, 0, :]
    return narrowed
