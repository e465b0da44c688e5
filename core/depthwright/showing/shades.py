"""From samples to shades: the gain with depth, and the amplitude at which a picture is black or white."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.processing.filters import gain_factor
from depthwright.processing.recipe import Recipe
from depthwright.scan import Block, Scan
from depthwright.showing.chain import Chain
from depthwright.showing.setting import Setting

Gain = NDArray[np.float32]

FULL_SCALE_PERCENTILE = 98.0
"""At contrast 1 the strongest 2 % of the samples are black or white."""


def gain_with_depth(recipe: Recipe, setting: Setting, scan: Scan) -> Gain:
    """Factors of a recipe's gain with depth, shape (samples,); ones where it is off.

    It is kept out of the chain: a factor for each sample changes nothing about which of several traces is
    the strongest, so that another gain needs no new pass over the line.
    """
    db_per_ns = recipe.gain_db_per_100mm * setting.velocity_mm_per_ns / 200
    start_ns = setting.file_ns(recipe.gain_from_mm)
    return gain_factor(scan.samples, scan.dt_ns, start_ns, db_per_ns)


@dataclass(frozen=True)
class Shades:
    """Amplitudes at the two ends of the colour map."""

    low: float
    high: float

    @staticmethod
    def of(chain: Chain) -> "Shades":
        """Shades by the line's own strength; an envelope, which is never negative, begins at zero.

        A gain does not change them: what it raises is to be seen brighter, not the rest darker.
        """
        level = full_scale(chain.sample)
        return Shades(0.0 if chain.recipe.envelope else -level, level)

    def times(self, factor: float) -> "Shades":
        """Shades that end at other amplitudes: at half of them for a contrast of 2."""
        return Shades(self.low * factor, self.high * factor)

    def places(self, picture: NDArray[np.float32], gain: Gain) -> NDArray[np.uint8]:
        """Places in a map of 256 colours, shape (samples, columns), as the picture."""
        scale = np.float32(255 / (self.high - self.low))
        placed = picture * (gain * scale)[:, None]
        placed -= np.float32(self.low) * scale
        np.clip(placed, 0, 255, out=placed)
        return placed.astype(np.uint8)


def full_scale(sample: Block) -> float:
    """Amplitude that :data:`FULL_SCALE_PERCENTILE` of the samples stay below, never 0.

    Where so many are silent it is the largest one.
    """
    strength = np.abs(sample[:: max(1, len(sample) // 256)])
    usual = float(np.percentile(strength, FULL_SCALE_PERCENTILE))
    return usual or float(np.abs(sample).max()) or 1.0
