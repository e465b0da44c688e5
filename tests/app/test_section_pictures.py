"""Golden pictures of the section: light, dark, true scale.

A picture may differ in some pixels, since letters and lines are drawn a little differently on every machine.
On failure the three pictures are kept beside each other; a wanted change is approved by copying the new one
over ``tests/app/baseline``.
"""

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtGui import QImage

from depthwright_app import theme

BASELINE = Path(__file__).with_name("baseline")
FAR = 48
"""Difference of a channel, of 255, from which on a pixel counts as another one."""
MOST_SHARE = 0.01

PICTURES = {
    "light": (theme.LIGHT, {}, None),
    "dark-migrated": (
        theme.DARK,
        {"migrate": True, "envelope": True, "gain_db_per_100mm": 6.0},
        None,
    ),
    "light-true-scale": (theme.LIGHT, {"remove_background": True}, 1.0),
}


def pixels(image):
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
    return rows[:, : 3 * image.width()].astype(int)


@pytest.mark.parametrize("name", PICTURES)
def test_the_section_looks_as_it_did(just_marked, name, tmp_path):
    look, recipe, exaggeration = PICTURES[name]
    pane = just_marked.pane
    pane.show_look(look)
    just_marked.window.entries.change_recipe("Recipe", **recipe)
    just_marked.settle()
    pane.setFixedSize(900, 600)
    just_marked.settle()
    just_marked.window.viewing.choose_exaggeration(exaggeration)
    pane.show_all()
    just_marked.settle()
    # Without the axes, whose letters are every machine's own.
    drawn = pane.grab(pane.box.sceneBoundingRect().toAlignedRect()).toImage()
    drawn.setDevicePixelRatio(1.0)
    path = BASELINE / f"section-{name}.png"
    wanted = QImage(str(path))
    assert not wanted.isNull(), f"no baseline {path}"
    size = (wanted.width(), wanted.height())
    difference = np.abs(pixels(drawn.scaled(*size)) - pixels(wanted))
    share = float((difference > FAR).mean())
    if share > MOST_SHARE:
        for kind, image in (("drawn", drawn), ("wanted", wanted)):
            image.save(str(tmp_path / f"{kind}.png"))
    assert share <= MOST_SHARE, f"{share:.1%} of the pixels differ: see {tmp_path}"
