"""Labels at marks, out of each other's way."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from depthwright_app import theme

Floats = NDArray[np.float64]

ROWS = 2


class _Wanted(NamedTuple):
    text: str
    at: tuple[float, float]
    colour: str
    italic: bool
    short: str


class Labels:
    """Label boxes that stand at their marks and out of each other's way; the first come first.

    A box may move up by one row. Where its text finds no room the short text is tried, and else it is
    left out: a number far from its mark would be read as another mark's. Zooming in makes room.
    """

    def __init__(self, painter: QPainter, area: QRectF) -> None:
        self.painter, self.area = painter, area
        self._wanted: list[_Wanted] = []
        self._fonts = [QFont(painter.font()) for _ in range(2)]
        for italic, font in enumerate(self._fonts):
            font.setItalic(bool(italic))
        self._names = [font.toString() for font in self._fonts]

    def place(
        self, text: str, centre: QPointF, colour: str, italic: bool = False, short: str = ""
    ) -> None:
        """Ask for ``text`` with its box's lower edge at ``centre``; ``short`` is a part of the text."""
        self._wanted.append(_Wanted(text, centre.toTuple(), colour, italic, short))

    def write(self) -> None:
        """Write what finds room, in the order it was asked for."""
        if not self._wanted:
            return
        sizes = [self._size(label.short or label.text, label) for label in self._wanted]
        least = self._boxes(np.array(sizes), np.array([label.at for label in self._wanted]))
        taken = np.empty((0, 4))
        # Where not even the short text has room nothing more is tried: most of a crowd ends here.
        free = np.ones(least.shape[:2], dtype=bool)
        for index, label in enumerate(self._wanted):
            if not free[index].any():
                continue
            words, box = self._room(label, taken)
            if box is not None:
                self._write(words, box, label)
                taken = np.vstack([taken, box])
                free &= ~_meet(least, box)

    def _room(self, label: _Wanted, taken: Floats) -> tuple[str, Floats | None]:
        """What there is room for, and where: left, top, right and bottom of its box."""
        for words in (label.text, label.short):
            if not words:
                continue
            size = self._size(words, label)
            width, height = size
            if self.area.adjusted(-width, -height, width, height).contains(*label.at):
                for box in self._boxes(np.array([size]), np.array([label.at]))[0]:
                    if not _meet(taken, box).any():
                        return words, box
        return "", None

    def _size(self, words: str, label: _Wanted) -> tuple[float, float]:
        return _size(words, self._names[label.italic])

    def _boxes(self, size: Floats, at: Floats) -> Floats:
        """Boxes in each row: left, top, right and bottom, px, shape (labels, rows, 4).

        ``size`` are their widths and heights, ``at`` the middles of their lower edges, shape (labels, 2).
        """
        area, (width, height) = self.area, size.T
        left = np.minimum(at[:, 0] - width / 2, area.right() - width - 2)
        left = np.maximum(left, area.left() + 2)
        top = np.maximum(at[:, 1] - height, area.top() + 2)
        boxes = np.empty((len(at), ROWS, 4))
        for row in range(ROWS):
            upper = top - row * (height + 2)
            boxes[:, row] = np.array([left, upper, left + width, upper + height]).T
        return boxes

    def _write(self, text: str, box: Floats, label: _Wanted) -> None:
        left, top, right, bottom = box.tolist()
        ground = QColor(theme.CASING)
        ground.setAlpha(215)
        rect = QRectF(left, top, right - left, bottom - top)
        self.painter.setFont(self._fonts[label.italic])
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(ground)
        self.painter.drawRoundedRect(rect, 4, 4)
        self.painter.setPen(QColor(label.colour))
        self.painter.drawText(rect, Qt.AlignmentFlag.AlignCenter, text)


def _meet(boxes: Floats, box: Floats) -> NDArray[np.bool_]:
    """Which of some boxes overlap one, shape (...,)."""
    meet: NDArray[np.bool_] = (
        (boxes[..., 0] < box[2])
        & (box[0] < boxes[..., 2])
        & (boxes[..., 1] < box[3])
        & (box[1] < boxes[..., 3])
    )
    return meet


@lru_cache(maxsize=8192)
def _size(words: str, font_name: str) -> tuple[float, float]:
    """Width and height of a text's box, px. The same numbers are written again and again."""
    metrics = _metrics(font_name)
    return metrics.horizontalAdvance(words) + 10, metrics.height() + 4


@lru_cache(maxsize=8)
def _metrics(font_name: str) -> QFontMetricsF:
    font = QFont()
    font.fromString(font_name)
    return QFontMetricsF(font)
