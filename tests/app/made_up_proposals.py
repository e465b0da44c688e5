"""Proposals of the demo line with made-up scores: real echoes, whatever they are worth."""

from depthwright.finding.proposal import BarProposal, FaceProposal, Proposals
from depthwright.measuring.picking import snap_bar, snap_face, with_crest

BARS = {
    "echo 1": (90.0, 1.42, 0.95),
    "echo 2": (260.0, 1.48, 0.90),
    "echo 3": (423.0, 1.57, 0.30),
    "echo 4": (599.0, 1.50, 0.70),
    "echo 5": (765.0, 1.66, 0.85),
    "echo 6": (932.0, 1.55, 0.40),
}
"""Position (mm), time (ns) and score of bars by their reasons; four of the six are shown at first."""
FACE = "goes along the line"


def made_up(stage):
    """All of them, the back face, and a message."""
    bars = tuple(
        BarProposal(with_crest(stage, snap_bar(stage, place, time)), score, reason)
        for reason, (place, time, score) in BARS.items()
    )
    anchors = tuple(snap_face(stage, float(place), 4.1) for place in range(200, 1100, 200))
    return Proposals(bars, FaceProposal(anchors, 0.8, FACE), ("Look at 1100 mm.",))
