"""The recipe: what is done to the scan before it is shown. The scan itself stays as recorded."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from depthwright.processing import filters
from depthwright.scan import Block, Scan

BACKGROUND_TRACES = 2048
"""Traces that the background is taken from: enough for a median, whatever the line's length."""


class Recipe(BaseModel):
    """Switches of what is shown; data in the job."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    dewow: bool = True
    remove_background: bool = False
    gain_db_per_100mm: float = Field(default=0.0, ge=0.0, le=60.0)


@dataclass(frozen=True)
class Setting:
    """What the steps need to know of the line: all in ns and GHz.

    ``gain_start_ns`` is where the gain begins; ``ns_per_100mm`` the two-way time of 100 mm.
    """

    centre_frequency_ghz: float
    gain_start_ns: float
    ns_per_100mm: float


def background_trace(scan: Scan) -> NDArray[np.float32]:
    """Median trace of the line, shape (samples,): whatever does not change along it."""
    stride = max(1, -(-scan.traces // BACKGROUND_TRACES))
    chosen = [block[(-first) % stride :: stride].copy() for first, block in scan.blocks()]
    median: NDArray[np.float32] = np.median(np.concatenate(chosen), axis=0).astype(np.float32)
    return median


def apply(
    recipe: Recipe,
    block: Block,
    dt_ns: float,
    setting: Setting,
    background: NDArray[np.float32] | None = None,
) -> Block:
    """Run the recipe over some traces, shape (traces, samples); an empty recipe changes nothing.

    ``background`` (shape (samples,)) is needed when the recipe removes it.
    """
    shown = block
    if recipe.remove_background:
        if background is None:
            raise ValueError("background removal needs the background trace")
        shown = shown - background
    if recipe.dewow:
        shown = filters.dewow(shown, dt_ns, setting.centre_frequency_ghz)
    if recipe.gain_db_per_100mm > 0:
        db_per_ns = recipe.gain_db_per_100mm / setting.ns_per_100mm
        shown = filters.gain(shown, dt_ns, setting.gain_start_ns, db_per_ns)
    return shown
