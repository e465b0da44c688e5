"""The recipe: what is done to the scan before it is shown. The scan itself stays as recorded.

The steps always run in one order: repair, dewow, band-pass, alignment, direct-wave removal, background
removal, smoothing, migration, envelope, gain. The linear ones come first; the gain, which distorts
amplitudes, comes last and never reaches a pick.
"""

from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

BackgroundSource = Literal["whole line", "moving window", "bar-free traces"]


class Recipe(BaseModel):
    """Switches of what is shown, each with its few settings; data in the job.

    Parameters
    ----------
    repair
        Put dead traces and spikes right from their neighbours.
    dewow
        Take away offset and slow drift.
    band, band_low_ghz, band_high_ghz
        Zero-phase band-pass; without edges the pulse's own band.
    align
        Move each trace in time so that the direct wave is level.
    remove_direct
        Subtract the direct wave as learnt from bar-free traces.
    remove_background, background_from, background_window_mm, keep_flat_face
        Subtract what the traces share, from where; sparing what looks like a flat back face.
    smooth, smooth_mm
        Average along the line, with a Gaussian of this standard deviation.
    migrate
        Collapse hyperbolas with the adopted depth model.
    envelope
        Show the envelope instead of the wave.
    gain_db_per_100mm, gain_from_mm
        Raise what lies deeper, from a depth on; 0 is off.
    even_gain, even_window_mm
        Bring every depth to the same strength, judged over a window of depth.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    repair: bool = True
    dewow: bool = True
    band: bool = False
    band_low_ghz: float | None = Field(default=None, gt=0.0, le=100.0)
    band_high_ghz: float | None = Field(default=None, gt=0.0, le=100.0)
    align: bool = False
    remove_direct: bool = False
    remove_background: bool = False
    background_from: BackgroundSource = "whole line"
    background_window_mm: float = Field(default=500.0, ge=20.0, le=1e5)
    keep_flat_face: bool = True
    smooth: bool = False
    smooth_mm: float = Field(default=10.0, ge=1.0, le=500.0)
    migrate: bool = False
    envelope: bool = False
    gain_db_per_100mm: float = Field(default=0.0, ge=0.0, le=60.0)
    gain_from_mm: float = Field(default=0.0, ge=0.0, le=5000.0)
    even_gain: bool = False
    even_window_mm: float = Field(default=100.0, ge=10.0, le=2000.0)

    @model_validator(mode="after")
    def _band_has_a_width(self) -> Self:
        low, high = self.band_low_ghz, self.band_high_ghz
        if low is not None and high is not None and low >= high:
            raise ValueError("the band's lower edge has to lie below its upper edge")
        return self


NOTHING = Recipe(repair=False, dewow=False)
"""The recipe that shows the scan as it was recorded."""
