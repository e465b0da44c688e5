"""Nothing on the page is clipped or covers another thing, whatever there is to say."""

import itertools
import re
from collections.abc import Callable

import matplotlib
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from depthwright.results.words import footing

Made = Callable[..., object]
LONG = (
    "Multi-storey car park at the harbour, level 4, bay 17 between grid lines C and D, north side"
)


def texts(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def words(figure: Figure) -> str:
    """All text of the page in one line, as set."""
    return " ".join(text.get_text() for text in figure.texts).replace("\u00a0", " ")


def section(figure: Figure) -> matplotlib.axes.Axes:
    return next(axes for axes in figure.axes if axes.images)


LAYOUTS = {
    "one bar": {"bars": 1},
    "twelve bars": {"bars": 12, "specified_cover_mm": 40.0, "face_tied": True},
    "forty bars": {"bars": 40, "specified_cover_mm": 45.0},
    "hundred bars": {"bars": 100, "pitch_mm": 90.0},
    "nothing": {"bars": 0, "face": False},
    "only a face": {"bars": 0, "face_tied": True},
    "inches": {"bars": 9, "unit": "in", "specified_cover_mm": 38.1},
    "provisional": {"bars": 7, "tied": False, "specified_cover_mm": 40.0},
    "all at once": {
        "bars": 100, "pitch_mm": 90.0, "unit": "in", "specified_cover_mm": 40.0, "face_tied": True,
        "name": LONG * 2, "note": LONG * 4,
        "line_fields": {"datum": LONG, "direction": LONG, "name": LONG},
    },
    "long names": {
        "bars": 5, "name": LONG * 2, "note": LONG * 4,
        "line_fields": {"datum": LONG, "direction": f"$towards$ the _ramp_ {LONG}", "name": LONG},
    },
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_no_text_leaves_the_page_or_covers_another(
    scene: Made, draw: Made, extras: tuple, name: str
) -> None:
    marks = extras if name not in ("nothing", "only a face") else ()
    assert_laid_out(draw(scene(extras=marks, **LAYOUTS[name])))


@pytest.mark.parametrize(
    ("name", "warnings"),
    [
        *((name, 1) for name in ("one bar", "forty bars", "only a face", "inches", "long names")),
        *(("all at once", 0), ("all at once", 3), ("hundred bars", 3)),
    ],
)
def test_warnings_and_known_depths_set_aside_leave_all_in_its_place(
    scene: Made,
    draw: Made,
    extras: tuple,
    tied_throughout: Made,
    warned: Made,
    name: str,
    warnings: int,
) -> None:
    marks = extras if name != "nothing" else ()
    reason = LONG if name in ("long names", "all at once") else "wrong bar"
    made = warned(
        tied_throughout(scene(extras=marks, **LAYOUTS[name]), aside_every=2, reason=reason),
        times=warnings,
    )
    figure = draw(made)
    assert_laid_out(figure)
    said = words(figure)
    for must in ("Distance scale", "sha256", "Lengths in", "Permittivity", "before it."):
        assert must in said
    aside = sum(row.kind == "tie" and not row.used for row in made.results.evidence)
    left = re.search(r"job, (\d+) of them set aside", said)
    assert said.count("set aside: ") + (int(left[1]) if left else 0) == aside
    assert section(figure).get_position().height * 210 > 20  # mm


@pytest.mark.parametrize("bars", [3, 4, 30])
def test_a_footing_of_many_known_depths_stays_short(
    scene: Made, draw: Made, tied_throughout: Made, bars: int
) -> None:
    made = tied_throughout(scene(bars))
    figure = draw(made)
    assert_laid_out(figure)
    if bars == 3:
        assert footing(made.results) in words(figure)
    else:
        assert f"Depths rest on {bars} known depths. Near " in words(figure)


def assert_laid_out(figure: Figure) -> None:
    with matplotlib.rc_context({"text.hinting": "none"}):
        figure.draw_without_rendering()
        boxes = [(text.get_text(), shrunk(text.get_window_extent())) for text in texts(figure)]
    page = figure.bbox
    for text, box in boxes:
        assert page.x0 + 40 < box.x0, text
        assert box.x1 < page.x1 - 40, text
        assert page.y0 + 30 < box.y0, text
        assert box.y1 < page.y1 - 30, text
    for (one, first), (other, second) in itertools.combinations(boxes, 2):
        assert not first.overlaps(second), (one, other)


def shrunk(box: Bbox) -> Bbox:
    """A text's box without the pixel of slack around its glyphs."""
    return Bbox.from_extents(box.x0 + 2, box.y0 + 2, box.x1 - 2, box.y1 - 2)
