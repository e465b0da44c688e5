"""Labels over a plot: near their marks, never one over another, the first come first."""

import numpy as np
import pytest
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFont, QFontMetricsF, QImage, QPainter

from depthwright_app import theme
from depthwright_app.plotting.labels import ROWS, Labels

AREA = QRectF(20.0, 10.0, 700.0, 300.0)


class Painted(Labels):
    """Keeps what is written, and where, beside writing it."""

    def __init__(self, painter, area):
        super().__init__(painter, area)
        self.boxes = []

    def _write(self, text, box, label):
        super()._write(text, box, label)
        left, top, right, bottom = box.tolist()
        self.boxes.append((text, QRectF(left, top, right - left, bottom - top)))


@pytest.fixture
def labels(qapp):
    image = QImage(760, 330, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    yield Painted(painter, AREA)
    painter.end()


def greedy(wanted, font):
    """The rule said plainly: each in turn takes the first free place, with its short text if need be."""
    metrics, taken, written = QFontMetricsF(font), [], []

    def room(text, at):
        width, height = metrics.horizontalAdvance(text) + 10, metrics.height() + 4
        if not AREA.adjusted(-width, -height, width, height).contains(at):
            return None
        box = QRectF(at.x() - width / 2, at.y() - height, width, height)
        box.moveLeft(max(AREA.left() + 2, min(box.left(), AREA.right() - width - 2)))
        box.moveTop(max(box.top(), AREA.top() + 2))
        for _ in range(ROWS):
            if not any(box.intersects(other) for other in taken):
                return box
            box.translate(0, -(height + 2))
        return None

    for text, at, short in wanted:
        for words in (text, short):
            box = room(words, at) if words else None
            if box is not None:
                taken.append(box)
                written.append((words, box))
                break
    return written


@pytest.mark.parametrize("count", [1, 12, 60, 300])
@pytest.mark.parametrize("short", [True, False])
def test_each_takes_the_first_free_place(labels, count, short):
    random = np.random.default_rng(count)
    places = random.uniform((0.0, 0.0), (760.0, 330.0), (count, 2)).tolist()
    wanted = [
        (f"{number}   {24 + number % 50} ± 2", QPointF(x, y), str(number) if short else "")
        for number, (x, y) in enumerate(places, start=1)
    ]
    expected = greedy(wanted, labels.painter.font())
    for text, at, brief in wanted:
        labels.place(text, at, theme.BAR, short=brief)
    labels.write()
    assert [text for text, _ in labels.boxes] == [text for text, _ in expected]
    for (_, box), (_, wanted_box) in zip(labels.boxes, expected, strict=True):
        assert box.getRect() == pytest.approx(wanted_box.getRect(), abs=1e-9)


def test_slanted_letters_are_measured_slanted(labels):
    labels.place("12   24 ± 2", QPointF(300.0, 200.0), theme.BAR, italic=True)
    labels.write()
    font = QFont(labels.painter.font())
    font.setItalic(True)
    ((_, box),) = labels.boxes
    assert box.width() == pytest.approx(QFontMetricsF(font).horizontalAdvance("12   24 ± 2") + 10)


def test_nothing_wanted_writes_nothing(labels):
    labels.write()
    assert labels.boxes == []
