"""What the program proposes and the user decides: plain values, no physics."""

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from depthwright.job import Line, Rejected
from depthwright.measuring.picking import Pick

SAME_MM, SAME_NS = 15.0, 0.15
"""A proposal nearer than both to another place means the same echo."""
SHOWN_SCORE = 0.5
"""Score from which a proposal is shown, and accepted where nobody is asked."""


@dataclass(frozen=True)
class BarProposal:
    """A bar that nobody has accepted yet.

    ``score`` lies between 0 and 1; ``reason`` says in a few words what speaks for it, or against.
    """

    pick: Pick
    score: float
    reason: str


@dataclass(frozen=True)
class FaceProposal:
    """A back face that nobody has accepted yet: anchors that its track goes through, along the line."""

    anchors: tuple[Pick, ...]
    score: float
    reason: str


@dataclass(frozen=True)
class Proposals:
    """All that is proposed on a line; ``messages`` say what was not found, and what to look at."""

    bars: tuple[BarProposal, ...] = ()
    face: FaceProposal | None = None
    messages: tuple[str, ...] = ()


def still_open(line: Line, proposals: Proposals) -> Proposals:
    """The proposals that are neither marked already nor rejected."""
    taken = [
        (mark.position_mm, mark.time_ns) for mark in line.marks if mark.kind in ("bar", "target")
    ]
    taken += [(place.position_mm, place.time_ns) for place in line.rejected if place.kind == "bar"]
    taken.sort()
    bars = tuple(bar for bar in proposals.bars if not _is_taken(bar.pick, taken))
    settled = any(mark.kind == "face" for mark in line.marks) or any(
        place.kind == "face" for place in line.rejected
    )
    return Proposals(bars, None if settled else proposals.face, proposals.messages)


def rejected(proposal: BarProposal | FaceProposal) -> Rejected:
    """The place that is not proposed again."""
    kind, pick = (
        ("bar", proposal.pick)
        if isinstance(proposal, BarProposal)
        else ("face", proposal.anchors[0])
    )
    return Rejected(kind=kind, position_mm=pick.position_mm, time_ns=pick.time_ns)


def same_echo(pick: Pick, position_mm: float, time_ns: float) -> bool:
    """Whether a pick means the echo at another place."""
    return abs(pick.position_mm - position_mm) < SAME_MM and abs(pick.time_ns - time_ns) < SAME_NS


def _is_taken(pick: Pick, taken: list[tuple[float, float]]) -> bool:
    """Whether one of some places means the same echo; they are in the order of their positions."""
    first = bisect_right(taken, (pick.position_mm - SAME_MM, math.inf))
    last = bisect_left(taken, (pick.position_mm + SAME_MM, -math.inf))
    return any(same_echo(pick, *place) for place in taken[first:last])
