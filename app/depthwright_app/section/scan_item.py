"""The scan on screen: as many columns as the view has pixels, taken from the levels of detail."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from depthwright.showing.levels import Level, columns, narrowed
from depthwright.showing.pixels import Picture, between, turned
from depthwright.showing.shades import Gain, Shades

Floats = NDArray[np.float64]

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
class _Frame:
    """What is seen, in device pixels ``left`` to ``right`` and ``top`` to ``bottom``.

    A place lies at pixel ``across_px + px_per_mm * mm`` and ``down_px + px_per_ns * ns``.
    """

    left: int
    right: int
    top: int
    bottom: int
    across_px: float
    px_per_mm: float
    down_px: float
    px_per_ns: float

    @staticmethod
    def of(seen: QRectF, to_pixels: QTransform, ratio: float) -> "_Frame":
        """The pixels of a part of the plot; ``ratio`` device pixels to one of the painter's."""
        pixels = to_pixels.mapRect(seen)
        return _Frame(
            left=math.floor(pixels.left() * ratio),
            right=math.ceil(pixels.right() * ratio),
            top=math.floor(pixels.top() * ratio),
            bottom=math.ceil(pixels.bottom() * ratio),
            across_px=to_pixels.dx() * ratio,
            px_per_mm=to_pixels.m11() * ratio,
            down_px=to_pixels.dy() * ratio,
            px_per_ns=to_pixels.m22() * ratio,
        )

    @property
    def is_empty(self) -> bool:
        """Whether there is no pixel in it, as while a window is being laid out."""
        return self.left >= self.right or self.top >= self.bottom

    @property
    def places_mm(self) -> Floats:
        """Distance at the middle of each column of pixels, shape (columns,)."""
        pixels = np.arange(self.left, self.right, dtype=np.float64)
        return (pixels + 0.5 - self.across_px) / self.px_per_mm

    @property
    def times_ns(self) -> Floats:
        """File time at the middle of each row of pixels, shape (rows,)."""
        pixels = np.arange(self.top, self.bottom, dtype=np.float64)
        return (pixels + 0.5 - self.down_px) / self.px_per_ns


@dataclass(frozen=True)
class _Taken:
    """Samples for a frame: pixels of shape (rows, columns) from pixel ``left`` on, and their gain's rows."""

    frame: _Frame
    left: int
    pixels: Picture = field(repr=False)
    rows: Floats = field(repr=False)


class ScanItem(pg.GraphicsObject):  # type: ignore[misc]
    """Paints a sheet; what was worked out for one view is kept until the view or the sheet changes."""

    def __init__(self) -> None:
        super().__init__()
        self.sheet: Sheet | None = None
        self.paint_with: Paint | None = None
        self._even_mm, self._origin_mm = 0.0, 0.0
        self._taken: _Taken | None = None
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
        frame = _Frame.of(seen, to_pixels, ratio)
        if frame.is_empty:
            return
        image, left = self._image_of(frame, ratio)
        painter.save()
        painter.setClipRect(seen)
        painter.setWorldTransform(QTransform())
        # Pixel on pixel: to have it scaled while painting takes longer than all the rest.
        painter.drawImage(QPointF(left / ratio, frame.top / ratio), image)
        painter.restore()

    def _image_of(self, frame: _Frame, ratio: float) -> tuple[QImage, int]:
        """The image of a frame, and the pixel where it begins."""
        paint = self.paint_with
        assert paint is not None
        if self._taken is None or self._taken.frame != frame:
            self._taken, self._image = self._take(frame), None
        if self._image is None:
            taken = self._taken
            gain = np.interp(taken.rows, np.arange(len(paint.gain)), paint.gain)
            places = paint.shades.places(taken.pixels, gain.astype(np.float32))
            height, width = places.shape
            image = QImage(places.data, width, height, width, QImage.Format.Format_Indexed8)
            image.setColorTable(paint.colours)
            image.setDevicePixelRatio(ratio)
            # The image does not own its pixels: they are kept beside it.
            self._image = image, places
        return self._image[0], self._taken.left

    def _take(self, frame: _Frame) -> _Taken:
        """Work out the samples of a frame: the strongest of many, or between those of few."""
        sheet = self.sheet
        assert sheet is not None
        rows = np.clip(frame.times_ns / sheet.dt_ns, 0, sheet.samples - 1)
        together = max(1, int((rows[-1] - rows[0]) / len(rows)))
        # Groups of samples are counted from the record's first, so that a pan never regroups them.
        first = int(rows[0]) // together * together
        last = min(int(rows[-1]) + 1 + together, sheet.samples)
        across, left = self._columns(sheet, frame, slice(first, last))
        down = narrowed(turned(across), together)
        pixels = between(down, (rows - first - (together - 1) / 2) / together)
        return _Taken(frame, left, pixels, rows)

    def _columns(self, sheet: Sheet, frame: _Frame, rows: slice) -> tuple[Picture, int]:
        """Samples of each column of pixels, shape (columns, samples), and the pixel of the first."""
        origin, even = self._origin_mm, self._even_mm
        if even * frame.px_per_mm > 1:
            traces = (frame.places_mm - origin) / even - 0.5
            first = math.floor(traces[0])
            edges = origin + even * np.arange(first, math.floor(traces[-1]) + 3)
            wide = columns(sheet.levels, sheet.where_mm, edges, rows)
            return between(wide, traces - first), frame.left
        width = 1 / frame.px_per_mm
        first = math.floor((frame.places_mm[0] - origin) / width)
        edges = origin + width * np.arange(first, first + frame.right - frame.left + 2)
        left = round(frame.across_px + frame.px_per_mm * (origin + width * first))
        return columns(sheet.levels, sheet.where_mm, edges, rows), left
