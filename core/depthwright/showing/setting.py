"""What a recipe's steps need to know of the line they run on."""

from dataclasses import dataclass

from depthwright import wave
from depthwright.measuring.timezero import DirectWave


@dataclass(frozen=True)
class Setting:
    """What the steps need to know of a line.

    Parameters
    ----------
    centre_frequency_ghz
        Of the antenna.
    zero_ns
        File time of no depth: what comes later was spent in the concrete.
    permittivity, separation_mm
        Of the adopted depth model.
    trace_spacing_mm
        Between neighbouring traces on the concrete.
    direct_ns
        File time of the line's direct wave.
    direct
        Its shape; None where it was not learnt.
    face_ns
        File time of the shallowest marked back face, if one is marked.
    """

    centre_frequency_ghz: float
    zero_ns: float
    permittivity: float
    separation_mm: float
    trace_spacing_mm: float
    direct_ns: float
    direct: DirectWave | None = None
    face_ns: float | None = None

    @property
    def period_ns(self) -> float:
        """Period of the centre frequency, ns."""
        return 1 / self.centre_frequency_ghz

    @property
    def velocity_mm_per_ns(self) -> float:
        """Wave velocity in the concrete, mm/ns."""
        return wave.velocity_mm_per_ns(self.permittivity)

    def file_ns(self, depth_mm: float) -> float:
        """File time at which a flat face at some depth is recorded, ns."""
        passed = wave.travel_time(depth_mm, self.permittivity, self.separation_mm)
        return self.zero_ns + float(passed.time_ns)
