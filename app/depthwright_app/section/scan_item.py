"""The scan on screen: as many columns as the view has pixels, taken from the levels of detail."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from depthwright.showing.levels import Level, columns, narrowed
from depthwright.showing.shades import Gain, Shades

Floats = NDArray[np.float64]
Shown = NDArray[np.float32]

_EVEN = 0.02
"""Spread of trace spacings, over their median, up to which a column may be a trace."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A line on its levels of detail.

    Parameters
    ----------
    levels
        At least one of them covers the traces in view.
    where_mm
        Distance from the datum of every trace, mm, shape (traces,).
    edges_mm
        Distances between which the line is shown, mm.
    dt_ns, samples
        Of the scan.
    """

    levels: Sequence[Level]
    where_mm: Floats
    edges_mm: tuple[float, float]
    dt_ns: float
    samples: int

    @property
    def rect(self) -> QRectF:
        """Where it lies: distance across, file time down."""
        left, right = self.edges_mm
        return QRectF(left, -self.dt_ns / 2, right - left, self.samples * self.dt_ns)

    @property
    def even_mm(self) -> float:
        """Distance between neighbouring traces, mm; 0 where it is not the same along the line."""
        steps = np.abs(np.diff(self.where_mm))
        if not len(steps):
            return self.edges_mm[1] - self.edges_mm[0]
        even = float(np.median(steps))
        return even if np.ptp(steps) <= _EVEN * even else 0.0

    @property
    def origin_mm(self) -> float:
        """Where the first column of pictures begins, whatever is in view: they never shimmer."""
        return float(self.where_mm.min()) - self.even_mm / 2


@dataclass(frozen=True)
class Paint:
    """How samples become colours: gain by sample, amplitudes at the ends, and 256 colours (0xffRRGGBB)."""

    gain: Gain = field(repr=False)
    shades: Shades
    colours: list[int] = field(repr=False)


@dataclass(frozen=True)
class _Grid:
    """Columns of ``width_mm`` from column ``first`` on, counted from the sheet's origin; samples wanted.

    ``together`` samples share a row of the picture, where it has fewer rows than samples.
    """

    first: int
    count: int
    width_mm: float
    top: int
    bottom: int
    together: int

    def edges_mm(self, origin_mm: float) -> Floats:
        edges: Floats = origin_mm + self.width_mm * (self.first + np.arange(self.count + 1.0))
        return edges


class ScanItem(pg.GraphicsObject):  # type: ignore[misc]
    """Paints a sheet; what was worked out for one view is kept until the view or the sheet changes."""

    def __init__(self) -> None:
        super().__init__()
        self.sheet: Sheet | None = None
        self.paint_with: Paint | None = None
        self._even_mm, self._origin_mm = 0.0, 0.0
        self._taken: tuple[_Grid, Shown] | None = None
        self._image: tuple[QImage, NDArray[np.uint8]] | None = None

    def show_sheet(self, sheet: Sheet | None) -> None:
        """Another line, or the same in more detail."""
        self.prepareGeometryChange()
        self.sheet = sheet
        if sheet is not None:
            self._even_mm, self._origin_mm = sheet.even_mm, sheet.origin_mm
        self._taken = self._image = None
        self.update()

    def show_paint(self, paint: Paint) -> None:
        """Other colours, contrast or gain."""
        self.paint_with = paint
        self._image = None
        self.update()

    def boundingRect(self) -> QRectF:  # noqa: N802
        """Where the line lies."""
        return self.sheet.rect if self.sheet else QRectF()

    def viewTransformChanged(self) -> None:  # noqa: N802
        """The view was zoomed or panned."""
        super().viewTransformChanged()
        self.update()

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        """Draw what is in view."""
        view = self.getViewBox()
        if self.sheet is None or self.paint_with is None or view is None:
            return
        seen = QRectF(view.viewRect()).intersected(self.sheet.rect)
        to_pixels = painter.worldTransform()
        device = painter.device()
        ratio = device.devicePixelRatioF() if device is not None else 1.0
        if seen.isEmpty():
            return
        grid = self._grid(seen, to_pixels.mapRect(seen), ratio)
        image = self._image_of(grid)
        place = QRectF(
            self._origin_mm + grid.first * grid.width_mm,
            (grid.top - 0.5) * self.sheet.dt_ns,
            grid.count * grid.width_mm,
            image.height() * grid.together * self.sheet.dt_ns,
        )
        target = to_pixels.mapRect(place)
        painter.save()
        painter.setClipRect(seen)
        painter.setWorldTransform(QTransform())
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawImage(target, image)
        painter.restore()

    def _grid(self, seen: QRectF, pixels: QRectF, ratio: float) -> _Grid:
        """Columns for what is seen: one to a pixel, or one to a trace where traces are wider."""
        assert self.sheet is not None
        width = max(seen.width() / max(pixels.width() * ratio, 1.0), self._even_mm)
        first = math.floor((seen.left() - self._origin_mm) / width) - 1
        last = math.ceil((seen.right() - self._origin_mm) / width) + 1
        top = max(0, int(seen.top() / self.sheet.dt_ns - 1))
        bottom = min(self.sheet.samples, math.ceil(seen.bottom() / self.sheet.dt_ns) + 2)
        together = max(1, int((bottom - top) / max(pixels.height() * ratio, 1.0)))
        top, bottom = top // together * together, max(top + 1, bottom)
        return _Grid(first, last - first, width, top, bottom, together)

    def _image_of(self, grid: _Grid) -> QImage:
        sheet, paint = self.sheet, self.paint_with
        assert sheet is not None
        assert paint is not None
        if self._taken is None or self._taken[0] != grid:
            rows = slice(grid.top, grid.bottom)
            edges = grid.edges_mm(self._origin_mm)
            across = columns(sheet.levels, sheet.where_mm, edges, rows).T
            self._taken = grid, np.ascontiguousarray(narrowed(across, grid.together))
            self._image = None
        if self._image is None:
            gain = paint.gain[grid.top : grid.bottom : grid.together]
            places = paint.shades.places(self._taken[1], gain)
            height, width = places.shape
            image = QImage(places.data, width, height, width, QImage.Format.Format_Indexed8)
            image.setColorTable(paint.colours)
            # The image does not own its pixels: they are kept beside it.
            self._image = image, places
        return self._image[0]
