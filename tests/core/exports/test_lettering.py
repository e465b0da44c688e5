"""Text on a page fits the room it is given, in glyphs that there are."""

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from matplotlib.textpath import text_to_path

from depthwright.exports.lettering import (
    MM_PER_POINT,
    Type,
    printable,
    shorten,
    width_mm,
    wrap,
)
from depthwright.units import THIN_SPACE

BODY = Type(7.5)
TEXTS = st.text(max_size=80)


@pytest.mark.parametrize("kind", [Type(7.5), Type(13, bold=True), Type(7.5, italic=True)])
def test_widths_are_those_that_matplotlib_sets(kind: Type) -> None:
    text = "Depths and positions are estimates 24.3 ± 2.1"
    set_pt, _, _ = text_to_path.get_text_width_height_descent(text, kind.font, ismath=False)
    assert width_mm(text, kind) == pytest.approx(set_pt * MM_PER_POINT, rel=0.01)


def test_what_no_font_has_becomes_a_box() -> None:
    assert printable("a\x00b\U0010fffd") == "a□b□"


def test_line_breaks_become_blanks_but_thin_spaces_stay() -> None:
    assert printable(f" 24\n\t23{THIN_SPACE}mm ") == f"24 23{THIN_SPACE}mm"


@settings(max_examples=60, deadline=None)
@given(text=TEXTS, room=st.floats(8, 60))
def test_wrapped_lines_fit_and_lose_nothing(text: str, room: float) -> None:
    lines = wrap(text, BODY, room)
    assert all(width_mm(line, BODY) <= room for line in lines)
    kept = "".join(lines).replace(" ", "").replace("\u00a0", "")
    assert kept == printable(text).replace(" ", "").replace("\u00a0", "")


@settings(max_examples=60, deadline=None)
@given(text=TEXTS, room=st.floats(8, 60))
def test_shortened_text_fits_and_begins_alike(text: str, room: float) -> None:
    short = shorten(text, BODY, room)
    assert width_mm(short, BODY) <= room
    assert printable(text).startswith(short.removesuffix("…").rstrip())


def test_text_beyond_the_most_lines_is_cut_off_visibly() -> None:
    lines = wrap("one two three four five six seven", BODY, 15, most=2)
    assert len(lines) == 2
    assert lines[1].endswith("…")
    assert width_mm(lines[1], BODY) <= 15


def test_an_interval_is_never_broken() -> None:
    lines = wrap(
        "cover of bar 3 is 24.3 ± 2.1 and more", BODY, width_mm("cover of bar 3 is 24.3 ±", BODY)
    )
    assert not any(line.endswith("±") or line.startswith("±") for line in lines)
