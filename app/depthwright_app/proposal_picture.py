"""What is shown of a line's proposals: plain values and words. No Qt here.

Places are in plot coordinates: distance from the datum in mm, file time in ns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright.finding.proposal import BarProposal, FaceProposal, Proposals
from depthwright.job import BarMark, Line
from depthwright.results.values import LineModel, Measured
from depthwright.units import LengthUnit, format_interval
from depthwright_app.picture import Run
from depthwright_app.wording import place_words, unbroken

Floats = NDArray[np.float64]
Proposal = BarProposal | FaceProposal
Seen = tuple[float, float, float, float]
"""What is in view: least and most distance from the datum (mm) and file time (ns)."""

ARC_HALF_MM = 60.0
"""So much of a hyperbola is drawn to each side of its apex."""
ARC_POINTS = 13
LEAST_CREST = 3
"""Picked points of a crest from which on it can be drawn."""


@dataclass(frozen=True)
class ProposalGlyph:
    """A proposed bar: its apex and a short piece of its hyperbola, of :data:`ARC_POINTS` points."""

    proposal: BarProposal
    position_mm: float
    time_ns: float
    arc: Run


@dataclass(frozen=True)
class FaceProposalGlyph:
    """A proposed back face: its anchors in the order of their distances."""

    proposal: FaceProposal
    anchors: Run


@dataclass(frozen=True)
class ProposalPicture:
    """The proposals that score enough, the bars in the order of their distances."""

    bars: tuple[ProposalGlyph, ...] = ()
    face: FaceProposalGlyph | None = None
    current: Proposal | None = None

    @cached_property
    def apexes(self) -> Floats:
        """Where the bars are, shape (bars, 2)."""
        return np.array([(bar.position_mm, bar.time_ns) for bar in self.bars]).reshape(-1, 2)

    def bars_within(self, seen: Seen) -> NDArray[np.intp]:
        """Which bars have their apexes there."""
        left, right, top, bottom = seen
        places, times = self.apexes.T
        inside = (left <= places) & (places <= right) & (top <= times) & (times <= bottom)
        return np.flatnonzero(inside)

    def face_within(self, seen: Seen) -> bool:
        """Whether the back face may be there in part."""
        if self.face is None:
            return False
        left, right, top, bottom = seen
        low, high = (end(self.face.anchors.places, axis=0).tolist() for end in (np.min, np.max))
        across = bool(low[0] <= right and left <= high[0])
        return across and bool(low[1] <= bottom and top <= high[1])


def bar_glyphs(
    line: Line, model: LineModel, bars: Sequence[BarProposal]
) -> tuple[ProposalGlyph, ...]:
    """Glyphs of proposed bars, in the order of their distances from the datum."""
    if not bars:
        return ()
    recorded = np.array([bar.pick.position_mm for bar in bars])
    times = np.array([bar.pick.time_ns for bar in bars])
    places, arcs = line.on_concrete_mm(recorded), _arcs(line, bars)
    plain = np.flatnonzero([len(bar.pick.crest) < LEAST_CREST for bar in bars])
    if len(plain):
        arcs[plain] = _tops(model, places[plain], times[plain])
    return tuple(
        ProposalGlyph(bars[at], float(places[at]), float(times[at]), Run(arcs[at]))
        for at in np.argsort(places, kind="stable").tolist()
    )


def face_glyph(line: Line, face: FaceProposal) -> FaceProposalGlyph:
    """The glyph of a proposed back face."""
    recorded = np.array([(anchor.position_mm, anchor.time_ns) for anchor in face.anchors])
    places = np.column_stack([line.on_concrete_mm(recorded[:, 0]), recorded[:, 1]])
    return FaceProposalGlyph(face, Run(places[np.argsort(places[:, 0], kind="stable")]))


def _arcs(line: Line, bars: Sequence[BarProposal]) -> Floats:
    """The picked crests near the apexes, shape (bars, points, 2); where there is none, the apex alone."""
    crests = [
        np.array(sorted((*bar.pick.crest, (bar.pick.position_mm, bar.pick.time_ns))))
        for bar in bars
    ]
    ends = np.array([(crest[0, 0], crest[-1, 0]) for crest in crests])
    apex = np.array([[bar.pick.position_mm] for bar in bars])
    first, last = np.clip(ends, apex - ARC_HALF_MM, apex + ARC_HALF_MM).T[..., None]
    along = first + (last - first) * np.linspace(0.0, 1.0, ARC_POINTS)
    times = [np.interp(at, *crest.T) for at, crest in zip(along, crests, strict=True)]
    return np.stack([line.on_concrete_mm(along), np.array(times)], axis=-1)


def _tops(model: LineModel, places_mm: Floats, times_ns: Floats) -> Floats:
    """The upper halves of bars of the usual diameter, shape (bars, points, 2)."""
    cover, _ = model.depths(times_ns, np.full(len(times_ns), 1e-3), bar=1.0)
    diameter = BarMark.model_fields["diameter_mm"].default
    outlines = model.bar_outline(places_mm, np.nan_to_num(cover), diameter)
    half = np.linspace(0, outlines.shape[1] // 2, ARC_POINTS).round().astype(int)
    tops = outlines[:, half]
    # With its top where the echo was picked, above the ruler's beginning too.
    tops[:, :, 1] += (times_ns - tops[:, ARC_POINTS // 2, 1])[:, None]
    return tops


# Words.


def counted(proposals: Sequence[Proposal]) -> str:
    """What there is of each kind: ``7 bars and the back face``."""
    bars = sum(isinstance(proposal, BarProposal) for proposal in proposals)
    kinds = [f"{bars} bar{'s' if bars != 1 else ''}"] if bars else []
    if bars < len(proposals):
        kinds.append("the back face")
    return " and ".join(kinds) or "no bar and no back face"


def found_words(shown: Sequence[Proposal], of: int, found: Proposals, rejected: int) -> str:
    """What a search came to, and what to do next; ``of`` is how many are open, shown or not."""
    messages = " ".join(found.messages)
    if shown:
        told = (
            f"{capital(counted(shown))} proposed. Accept what is shown, or go from one to the next with "
            "Ctrl+Right."
        )
    elif of:
        told = (
            f"Only weak proposals here, {of} of them: lower the least score to see them."
            if of > 1
            else "Only a weak proposal here: lower the least score to see it."
        )
    elif found.bars or found.face is not None:
        told = "All that was found is marked already"
        told += (
            " or was rejected. Propose rejected ones again (Mark) brings back the rejected."
            if rejected
            else "."
        )
    else:
        told = "Nothing to propose was found on this line."
    return f"{told} {messages}".rstrip()


def current_words(line: Line, unit: LengthUnit, proposal: Proposal) -> str:
    """The current proposal: what and where, what speaks for it."""
    if isinstance(proposal, BarProposal):
        pick = proposal.pick
        own_u_mm = pick.position_u_mm if np.isfinite(pick.position_u_mm) else 0.0
        name = f"Bar at {place_words(line, pick.position_mm, unit, own_u_mm)}"
    else:
        name = f"Back face through {len(proposal.anchors)} anchors"
    return unbroken(f"{name}: {proposal.reason} · score {proposal.score:.2f}")


def depth_words(proposal: Proposal, depth: Measured | None, unit: LengthUnit) -> str:
    """The depth that a proposal would have, with its interval; nothing where it is not known."""
    if depth is None or not np.isfinite(depth.value_mm):
        return ""
    name = "cover" if isinstance(proposal, BarProposal) else "thickness"
    return f"{name} {unbroken(format_interval(depth.value_mm, depth.expanded_mm, unit))}"


def capital(words: str) -> str:
    """The same at the beginning of a sentence."""
    return words[:1].upper() + words[1:]
