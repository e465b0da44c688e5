"""What is asked for where lines are marked by themselves: plain values in the program's units."""

from dataclasses import dataclass
from typing import Literal

from depthwright.constants import TYPICAL_PERMITTIVITY_U
from depthwright.depth import priors
from depthwright.job import NOTHING_GIVEN, Antenna, Given, Tie

GIVEN_HEIGHT_U_MM = 1.0
"""Standard uncertainty of an antenna height that was given without one: stated to the millimetre, while
wheels wear and concrete is rough. Judgement, no source."""
GIVEN_SEPARATION_U_MM = priors.SEPARATION_U_MM
GIVEN_TIME_OFFSET_U_NS = priors.TIME_OFFSET_U_NS
GIVEN_PERMITTIVITY_U = TYPICAL_PERMITTIVITY_U


@dataclass(frozen=True)
class Quantity:
    """A value and its standard uncertainty, in one unit."""

    value: float
    u: float


@dataclass(frozen=True)
class TieAt:
    """A known depth at a recorded position, mm."""

    kind: Literal["bar", "face"]
    position_mm: float
    tie: Tie

    @property
    def words(self) -> str:
        """As it is written on the command line: ``bar@150mm``."""
        return f"{self.kind}@{self.position_mm:g}mm"


@dataclass(frozen=True)
class Request:
    """How a line is marked.

    Parameters
    ----------
    given
        What the file is silent about, or says wrongly.
    trace_spacing_share_u
        Standard uncertainty of a trace spacing given, as a share of it; None where none was given.
    card
        The antenna as an antenna card has it.
    separation_mm, height_mm, time_offset_ns, centre_frequency_ghz
        The antenna's, each before that of the card, of the file and of what is assumed. The time offset
        is what the direct wave comes later than by ``s/c`` and the computed near-field shift. The frequency
        is the nominal one: near it, that of the pulse's spectrum counts.
    bar_diameter_mm
        Diameter of all bars.
    permittivity
        Evidence that is kept beside all other.
    ties
        Known depths on this line.
    propose
        Whether bars and back face are looked for; else only what a tie points at is marked.
    remarks
        Sentences on the request that go with each line's numbers.
    """

    given: Given = NOTHING_GIVEN
    trace_spacing_share_u: float | None = None
    card: Antenna | None = None
    separation_mm: Quantity | None = None
    height_mm: Quantity | None = None
    time_offset_ns: Quantity | None = None
    centre_frequency_ghz: float | None = None
    bar_diameter_mm: float | None = None
    permittivity: Quantity | None = None
    ties: tuple[TieAt, ...] = ()
    propose: bool = True
    remarks: tuple[str, ...] = ()

    def antenna(self, found: Antenna) -> Antenna:
        """The antenna with what was given in the place of what was found."""
        fields: dict[str, object] = {}
        names: list[str] = []
        if (separation := self.separation_mm) is not None:
            fields |= {"separation_mm": separation.value, "separation_u_mm": separation.u}
            fields["separation_known"] = True
            names.append("separation")
        if (height := self.height_mm) is not None:
            fields |= {"height_mm": height.value, "height_u_mm": height.u}
            names.append("height")
        if (offset := self.time_offset_ns) is not None:
            fields |= {"time_offset_ns": offset.value, "time_offset_u_ns": offset.u}
            fields["direct_shift"] = "computed"
            names.append("time offset")
        if self.centre_frequency_ghz is not None:
            fields["centre_frequency_ghz"] = self.centre_frequency_ghz
            names.append("frequency")
        if names:
            fields["source"] = f"{found.source}; given instead: {', '.join(names)}"
        return Antenna.model_validate({**dict(found), **fields})
