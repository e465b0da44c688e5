"""The section pane: B-scan, depth ruler, trace pane and cover strip on shared axes, and the mouse."""

import math

import matplotlib
import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QLineF, QPoint, QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QKeyEvent
from PySide6.QtWidgets import QWidget

from depthwright.exports.section import ImageStyle
from depthwright.showing.shades import Gain, Shades
from depthwright.units import LengthUnit
from depthwright_app import theme
from depthwright_app.cover_strip import CoverStrip
from depthwright_app.picture import Picture
from depthwright_app.plotting.axes import AXIS_PX, RULER_PX, LengthAxis, TimeAxis, name_axis
from depthwright_app.plotting.depth_axis import DepthAxis
from depthwright_app.plotting.plot import Plot
from depthwright_app.proposal_picture import Seen
from depthwright_app.section.marks_item import MarksItem
from depthwright_app.section.overview import Overview
from depthwright_app.section.proposals_item import ProposalsItem
from depthwright_app.section.scan_item import Paint, ScanItem, Sheet
from depthwright_app.trace_pane import TracePane

GRAB_PX = 14.0
TITLE_BEYOND_PX = 80.0
"""How much wider than the section its title may be: there is room for the two rulers beside it."""
COLOUR_MAPS = {"Grey": "gray", "Warm": "magma", "Steady": "cividis", "Two-sided": "RdBu"}
"""Perceptual maps by the names shown; the values are matplotlib's, so that exports look the same."""


class SectionBox(pg.ViewBox):  # type: ignore[misc]
    """The section's mouse: click marks, drag moves the selected mark or pans."""

    clicked = Signal(float, float)
    grabbed = Signal(float, float)
    dragged = Signal(float, float, bool)

    def __init__(self) -> None:
        super().__init__(enableMenu=False)
        self.grabs: tuple[tuple[float, float], ...] = ()
        self._dragging = False

    def mouseClickEvent(self, event: "pg.GraphicsScene.mouseEvents.MouseClickEvent") -> None:  # noqa: N802
        """A click in plot coordinates."""
        if event.button() == Qt.MouseButton.LeftButton:
            event.accept()
            where = self.mapSceneToView(event.scenePos())
            self.clicked.emit(where.x(), where.y())

    def mouseDragEvent(  # noqa: N802
        self, event: "pg.GraphicsScene.mouseEvents.MouseDragEvent", axis: int | None = None
    ) -> None:
        """Move the mark under the button, else pan."""
        if event.isStart():
            start = event.buttonDownScenePos()
            left = event.button() == Qt.MouseButton.LeftButton
            self._dragging = left and self._near_grab(start)
            if self._dragging:
                held = self.mapSceneToView(start)
                self.grabbed.emit(held.x(), held.y())
        if not self._dragging:
            super().mouseDragEvent(event, axis)
            return
        event.accept()
        where = self.mapSceneToView(event.scenePos())
        self.dragged.emit(where.x(), where.y(), event.isFinish())

    def _near_grab(self, scene: QPointF) -> bool:
        return any(
            QLineF(self.mapViewToScene(QPointF(*place)), scene).length() <= GRAB_PX
            for place in self.grabs
        )


class SectionPane(pg.GraphicsLayoutWidget):  # type: ignore[misc]
    """The centre of the window."""

    clicked = Signal(float, float)
    grabbed = Signal(float, float)
    dragged = Signal(float, float, bool)
    hovered = Signal(float, float)
    left = Signal()
    typed = Signal(str)
    nudged = Signal(int, int, bool)
    key_pressed = Signal(int)
    stretched = Signal(float, float, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Section")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(440, 320)
        self.box = SectionBox()
        self.ruler = DepthAxis()
        self.time_axis = TimeAxis("left")
        self.distance_axis = LengthAxis("top")
        self.plot = Plot(
            self.box,
            {"left": self.time_axis, "right": self.ruler, "top": self.distance_axis},
        )
        self.addItem(self.plot, row=1, col=0)
        self.box.invertY(True)
        self.scan = ScanItem()
        self.trace_line = pg.InfiniteLine(angle=90, movable=False)
        self.proposals, self.marks = ProposalsItem(), MarksItem()
        self.plot.draw(self.scan, self.trace_line, self.proposals, self.marks)
        self.overview = Overview(self.box)
        self.addItem(self.overview, row=0, col=0)
        self.trace = TracePane()
        self.addItem(self.trace, row=1, col=1)
        self.trace.box.setYLink(self.box)
        self.strip = CoverStrip()
        self.addItem(self.strip, row=2, col=0)
        self.strip.box.setXLink(self.box)
        self._arrange()
        self._line_rect = QRectF()
        self._ns_per_mm = math.nan
        self._unit: LengthUnit = "mm"
        self._exaggeration: float | None = None
        self._connect()

    def _arrange(self) -> None:
        layout = self.ci.layout
        layout.setColumnStretchFactor(0, 9)
        layout.setColumnStretchFactor(1, 2)
        layout.setRowStretchFactor(1, 5)
        layout.setRowStretchFactor(2, 1)
        layout.setHorizontalSpacing(0)
        self.trace.setMinimumWidth(140)
        self.strip.setMinimumHeight(110)
        for axis in (self.time_axis, self.strip.cover_axis):
            axis.setWidth(AXIS_PX)
        self.strip.axes["right"].setWidth(RULER_PX)
        self.time_axis.setLabel("Two-way time, ns")

    def _connect(self) -> None:
        self.box.clicked.connect(self._click)
        self.box.grabbed.connect(self.grabbed)
        self.box.dragged.connect(self.dragged)
        self.ruler.stretched.connect(self.stretched)
        for plot in (self.plot, self.trace, self.strip):
            # At once, else it is done while painting, which paints everything a second time.
            plot.box.sigRangeChanged.connect(lambda box, *_: box.updateMatrix())
        self.box.sigXRangeChanged.connect(self._keep_scale)
        self.box.sigResized.connect(self._keep_scale)
        self.box.sigRangeChanged.connect(self._name_distance)
        self.box.sigResized.connect(self._name_distance)
        self._pointer = QPointF()
        # Owned by this widget, so that it ends with it; a snap is worked out 30 times a second.
        self._hover = QTimer(self, singleShot=True, interval=33)
        self._hover.timeout.connect(self._moved)
        self.scene().sigMouseMoved.connect(self._point_at)

    def show_look(self, look: theme.Look) -> None:
        """Grounds and pens for a light or a dark window."""
        self.setBackground(look.ground)
        for plot in (self.plot, self.trace, self.strip):
            for axis in plot.axes.values():
                axis.setPen(pg.mkPen(look.hairline))
                axis.setTextPen(pg.mkPen(look.text))
        self.trace_line.setPen(pg.mkPen(look.accent, width=1, style=Qt.PenStyle.DotLine))
        self.trace.show_look(look)
        self.strip.show_look(look)
        self.overview.show_look(look)

    def show_font(self, font: QFont) -> None:
        """Sizes that follow the system's."""
        small = theme.sized(font, 0.9)
        self.marks.font = small
        for plot in (self.plot, self.strip):
            for axis in plot.axes.values():
                axis.setTickFont(small)
        # Told, as the other axes' widths are: found while painting, it would hang on what was painted first.
        height_px = math.ceil(QFontMetricsF(small).height())
        for axis in (self.distance_axis, self.strip.axes["bottom"]):
            axis.setStyle(autoExpandTextSpace=False, tickTextHeight=height_px)
        self.strip.set_font(small)

    def show_units(self, unit: LengthUnit) -> None:
        """Label distances and depths in another unit."""
        self.distance_axis.show_unit(unit)
        self._unit = unit
        self._name_distance()
        name_axis(self.strip.cover_axis, f"Cover, {unit}")

    def show_sheet(self, sheet: Sheet | None) -> None:
        """Show a line's samples, or nothing; a line of another extent is shown as a whole."""
        self.scan.show_sheet(sheet)
        self.overview.show_sheet(sheet)
        self.trace_line.setVisible(sheet is not None)
        if sheet is not None and sheet.rect != self._line_rect:
            self._line_rect = sheet.rect
            self._limit()
            self.show_all()

    def show_shading(self, shading: ImageStyle, gain: Gain, shades: Shades) -> None:
        """Contrast, colours and gain."""
        table = matplotlib.colormaps[shading.colour_map](np.arange(256), bytes=True).astype(
            np.uint32
        )
        packed = (255 << 24) | (table[:, 0] << 16) | (table[:, 1] << 8) | table[:, 2]
        paint = Paint(gain, shades, (packed[::-1] if shading.inverted else packed).tolist())
        self.scan.show_paint(paint)
        self.overview.show_paint(paint)

    def show_trace_place(self, distance_mm: float) -> None:
        """Where the trace pane's trace lies."""
        self.trace_line.setPos(distance_mm)

    @property
    def seen_mm(self) -> tuple[float, float]:
        """Distances from the datum at the view's edges, mm."""
        left, right = self.box.viewRange()[0]
        return left, right

    @property
    def seen(self) -> Seen:
        """The view's edges: distances from the datum, mm, and file times, ns."""
        left, right = self.seen_mm
        top, bottom = self.box.viewRange()[1]
        return left, right, top, bottom

    def reach(self, distance_mm: float, time_ns: float, px: float) -> Seen:
        """What lies within some pixels of a place: distances (mm) and file times (ns)."""
        across, down = (px * size for size in self.box.viewPixelSize())
        return distance_mm - across, distance_mm + across, time_ns - down, time_ns + down

    def bring_into_view(self, distance_mm: float, time_ns: float) -> None:
        """Pan until a place is in view, without zooming; one that is stays where it is."""
        left, right, top, bottom = self.seen
        if not left < distance_mm < right:
            self.box.translateBy(x=distance_mm - (left + right) / 2)
        if not top < time_ns < bottom:
            self.box.translateBy(y=time_ns - (top + bottom) / 2)

    def show_scale(self, ns_per_mm: float, exaggeration: float | None) -> None:
        """Draw depths this many times larger than distances; None fills the view.

        ``ns_per_mm`` is the two-way time of a millimetre of depth: exact far below the antennas, near them
        time runs slower with depth.
        """
        if (ns_per_mm, exaggeration) == (self._ns_per_mm, self._exaggeration):
            return
        chosen = exaggeration != self._exaggeration
        self._ns_per_mm, self._exaggeration = ns_per_mm, exaggeration
        self._limit()
        if chosen:
            self.show_all()
        else:
            self._keep_scale()
        self._name_distance()

    def _name_distance(self, *_: object) -> None:
        """The axis says how much larger than distances the depths are drawn."""
        (left, right), (top, bottom) = self.box.viewRange()
        deep = (bottom - top) / self._ns_per_mm / max(self.box.height(), 1.0)
        times = (right - left) / max(self.box.width(), 1.0) / deep if deep > 0 else math.nan
        drawn = f" · {_scale_words(times)}" if math.isfinite(times) else ""
        words = f"Distance from the datum, {self._unit}{drawn}"
        if self.fontMetrics().horizontalAdvance(words) > self.box.width() + TITLE_BEYOND_PX:
            words = f"Distance, {self._unit}{f' · depths ×{times:.3g}' if drawn else ''}"
        if words != self.distance_axis.labelText:
            name_axis(self.distance_axis, words)

    def _keep_scale(self, *_: object) -> None:
        """With a true scale the times in view follow from the distances in view."""
        rect, (left, right) = self._line_rect, self.seen_mm
        if self._exaggeration is None or rect.isEmpty():
            return
        span = (right - left) * self._ns_per_mm * self.box.height() / max(self.box.width(), 1.0)
        span /= self._exaggeration
        now = sum(self.box.viewRange()[1]) / 2
        top = min(max(now - span / 2, rect.top()), max(rect.bottom() - span, rect.top()))
        self.box.setYRange(top, top + span, padding=0)

    def show_picture(self, picture: Picture, unit: LengthUnit) -> None:
        """Marks over the section and covers under it."""
        self.marks.show_picture(picture)
        self.strip.show_picture(picture, unit)
        self.box.grabs = tuple((glyph.position_mm, glyph.time_ns) for glyph in picture.glyphs)

    def show_all(self) -> None:
        """The whole line; with a true scale all of its depth, about the middle of what is in view."""
        rect = self._line_rect
        if self._exaggeration is None or rect.isEmpty():
            self.box.setRange(rect, padding=0)
            return
        per_height = rect.height() / self._ns_per_mm * self._exaggeration
        across = per_height * self.box.width() / max(self.box.height(), 1.0)
        middle = min(max(sum(self.seen_mm) / 2, rect.left()), rect.right())
        self.box.setXRange(middle - across / 2, middle + across / 2, padding=0)
        self._keep_scale()

    def zoom(self, factor: float) -> None:
        """Closer (above 1) or farther, about the middle."""
        self.box.scaleBy((1 / factor, 1 / factor))

    def pixels(self, distance_mm: float, time_ns: float) -> QPoint:
        """Where a place lies in this widget."""
        scene = self.box.mapViewToScene(QPointF(distance_mm, time_ns))
        return QPoint(self.mapFromScene(scene))

    def _limit(self) -> None:
        """The view stays on the line; with a true scale it may reach beyond, where the line is short."""
        rect = self._line_rect
        free = self._exaggeration is None
        across = 0.02 * rect.width() if free else 1e3 * rect.width()
        down = 0.0 if free else 1e3 * rect.height()
        self.box.setLimits(
            xMin=rect.left() - across,
            xMax=rect.right() + across,
            yMin=rect.top() - down,
            yMax=rect.bottom() + down,
        )

    def _click(self, distance_mm: float, time_ns: float) -> None:
        self.setFocus()
        # Beside the line, or beside the part of it that is shown, there is nothing to point at.
        if self._line_rect.contains(distance_mm, time_ns):
            self.clicked.emit(distance_mm, time_ns)

    def _point_at(self, scene: QPointF) -> None:
        self._pointer = QPointF(scene)
        if not self._hover.isActive():
            self._hover.start()

    def _moved(self) -> None:
        scene = self._pointer
        where = self.box.mapSceneToView(scene)
        inside = self.box.sceneBoundingRect().contains(scene)
        if inside and self._line_rect.contains(where.x(), where.y()):
            self.hovered.emit(where.x(), where.y())
        else:
            self.left.emit()

    def leaveEvent(self, event: object) -> None:  # noqa: N802
        """The pointer left: no snap to preview."""
        super().leaveEvent(event)
        self._hover.stop()
        self.left.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Digits start a reading; arrows nudge; the rest is the window's."""
        text = event.text()
        plain = event.modifiers() in (
            Qt.KeyboardModifier.NoModifier,
            Qt.KeyboardModifier.KeypadModifier,
        )
        steps = {
            Qt.Key.Key_Left: (-1, 0),
            Qt.Key.Key_Right: (1, 0),
            Qt.Key.Key_Up: (0, -1),
            Qt.Key.Key_Down: (0, 1),
        }
        if plain and text and (text.isdecimal() or text in ".,"):
            self.typed.emit(text)
        elif event.key() in steps and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            event.ignore()  # commands, which may just not be possible: no nudge instead
        elif event.key() in steps:
            fast = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self.nudged.emit(*steps[Qt.Key(event.key())], fast)
        elif plain and event.key() in (
            Qt.Key.Key_Delete,
            Qt.Key.Key_Backspace,
            Qt.Key.Key_Escape,
            Qt.Key.Key_Return,
            Qt.Key.Key_Enter,
        ):
            self.key_pressed.emit(int(event.key()))
        else:
            super().keyPressEvent(event)


def _scale_words(times: float) -> str:
    """How much larger than distances depths are drawn."""
    if abs(times - 1) < 0.005:
        return "true scale"
    shown = f"{times:.0f}" if times >= 100 else f"{times:.3g}"
    return f"depths drawn {shown} times larger"
