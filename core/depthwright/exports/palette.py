"""Colours, sizes and strokes of printed pages: white ground, dark casing, the marks of the screen."""

from matplotlib.patheffects import AbstractPathEffect, Normal, Stroke

GROUND = "#FFFFFF"
TEXT = "#1B1E23"
QUIET = "#5A6270"
HAIRLINE = "#B8BEC8"
CASING = "#16181C"
BAR = "#EDCE8B"
FACE = "#60ADA7"
TIE = "#E74A66"
TARGET = "#AF75DF"
NOTE = "#FFFFFF"

TITLE_PT = 13.0
HEAD_PT = 8.0
BODY_PT = 7.5
SMALL_PT = 6.8

THIN_PT = 0.6
LINE_PT = 1.1


def cased(width_pt: float, edge_pt: float = 0.9) -> list[AbstractPathEffect]:
    """A dark casing on both sides of a stroke, so that it stands out on any grey."""
    return [Stroke(linewidth=width_pt + 2 * edge_pt, foreground=CASING), Normal()]
