"""A printed page measured in millimetres from its upper left corner."""

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from depthwright.exports import palette
from depthwright.exports.lettering import Type, printable

MM_PER_INCH = 25.4
DPI = 200

WIDTH_MM, HEIGHT_MM = 297.0, 210.0
"""A4 landscape (ISO 216)."""


class Page:
    """A4 landscape; everything on it is placed in mm, y growing downward."""

    def __init__(self) -> None:
        self.figure = Figure(
            figsize=(WIDTH_MM / MM_PER_INCH, HEIGHT_MM / MM_PER_INCH),
            dpi=DPI,
            facecolor=palette.GROUND,
        )
        FigureCanvasAgg(self.figure)

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """An empty frame."""
        axes = self.figure.add_axes(
            (left / WIDTH_MM, 1 - (top + height) / HEIGHT_MM, width / WIDTH_MM, height / HEIGHT_MM)
        )
        for spine in axes.spines.values():
            spine.set_linewidth(palette.THIN_PT)
            spine.set_color(palette.TEXT)
        return axes

    def text(
        self,
        x: float,
        baseline: float,
        text: str,
        kind: Type,
        *,
        colour: str = palette.TEXT,
        align: str = "left",
        turned: bool = False,
        pill: bool = False,
    ) -> None:
        """One line of text; ``turned`` reads upward, ``pill`` stands on a dark ground."""
        ground = {"boxstyle": "round,pad=0.2", "facecolor": palette.CASING, "edgecolor": "none"}
        self.figure.text(
            x / WIDTH_MM,
            1 - baseline / HEIGHT_MM,
            printable(text),
            fontproperties=kind.font,
            color=colour,
            ha="center" if turned else align,
            va="bottom" if turned else "baseline",
            rotation=90 if turned else 0,
            parse_math=False,
            bbox=ground if pill else None,
        )

    def line(
        self,
        xs: tuple[float, ...],
        ys: tuple[float, ...],
        colour: str = palette.HAIRLINE,
        width_pt: float = palette.THIN_PT,
    ) -> None:
        """A run of straight strokes."""
        self.figure.add_artist(
            Line2D(
                [x / WIDTH_MM for x in xs],
                [1 - y / HEIGHT_MM for y in ys],
                color=colour,
                linewidth=width_pt,
            )
        )
