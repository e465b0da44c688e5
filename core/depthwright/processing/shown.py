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
    """Samples to be shown, shape (columns, samples), columns spread evenly over the traces.

    Where traces share a column the sample with the largest magnitude stands for them, so that a
    feature one trace wide stays visible.
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
    return np.concatenate(columns)


def _narrow(block: Block, together: int) -> Block:
    if together == 1:
        return block
    missing = -len(block) % together
    padded = np.pad(block, ((0, missing), (0, 0)), mode="edge")
    groups = padded.reshape(-1, together, block.shape[1])
    strongest = np.abs(groups).argmax(axis=1)[:, None, :]
    narrowed: Block = np.take_along_axis(groups, strongest, axis=1)[:, 0, :]
    return narrowed
