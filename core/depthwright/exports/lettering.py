"""Text on a printed page: which glyphs there are, how wide a text is, where its lines break.

Widths come from the outlines of the font that matplotlib ships, so that a page is laid out alike
whatever it is saved as.
"""

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from matplotlib.font_manager import FontProperties, findfont, fontManager, get_font
from matplotlib.textpath import text_to_path

MM_PER_POINT = 25.4 / 72
LINE_HEIGHT = 1.28
"""Distance of baselines, in sizes of the type."""

_BREAKS = re.compile(r"[ \t\r\n\v\f]+")  # not the thin space before a unit
_STYLES = ("plain", "bold", "italic")
_OTHER_SCRIPTS = (
    "Noto Sans CJK JP",
    "Noto Sans CJK SC",
    "Microsoft YaHei",
    "PingFang SC",
    "Yu Gothic",
    "Malgun Gothic",
    "Nirmala UI",
    "Arial Unicode MS",
)


@dataclass(frozen=True)
class Type:
    """How a text is set."""

    size_pt: float
    bold: bool = False
    italic: bool = False

    @property
    def font(self) -> FontProperties:
        """The font for matplotlib."""
        return FontProperties(
            family=list(_families()),
            size=self.size_pt,
            weight="bold" if self.bold else "normal",
            style="italic" if self.italic else "normal",
        )

    @property
    def line_mm(self) -> float:
        """Distance of baselines, mm."""
        return self.size_pt * LINE_HEIGHT * MM_PER_POINT


def printable(text: str) -> str:
    """One line of text in glyphs that there are; what no font has becomes ``□``."""
    return "".join(c if _has_glyph(c) else "□" for c in _BREAKS.sub(" ", text).strip())


@lru_cache(maxsize=10_000)
def width_mm(text: str, kind: Type) -> float:
    """Width of a line of text on paper, mm."""
    return sum(_advance_mm(c, kind) for c in text)


def shorten(text: str, kind: Type, room_mm: float) -> str:
    """A line of text, its end cut off with ``…`` where it does not fit."""
    text = printable(text)
    if width_mm(text, kind) <= room_mm:
        return text
    text = text.removesuffix("…")
    while text and width_mm(text + "…", kind) > room_mm:
        text = text[:-1]
    return text.rstrip() + "…"


def wrap(text: str, kind: Type, room_mm: float, most: int | None = None) -> list[str]:
    """Lines of a text that fit a width; words longer than that are broken.

    Beyond ``most`` lines the text is cut off with ``…``.
    """
    return list(_wrapped(text, kind, room_mm, most))


@lru_cache(maxsize=1000)
def _wrapped(text: str, kind: Type, room_mm: float, most: int | None) -> tuple[str, ...]:
    """Kept: while a page is laid out, the same text is tried at many heights."""
    lines, used_mm = [""], 0.0
    for word in printable(text).replace(" ± ", "\u00a0±\u00a0").split(" "):
        before = f"{lines[-1]} " if lines[-1] else ""
        # Word by word: the same words are measured many times while a page is laid out.
        longer_mm = (used_mm + width_mm(" ", kind) if before else 0.0) + width_mm(word, kind)
        if longer_mm <= room_mm:
            lines[-1], used_mm = before + word, longer_mm
            continue
        *whole, rest = _pieces(word, kind, room_mm)
        lines.extend([*whole, rest])
        used_mm = width_mm(rest, kind)
    lines = [line for line in lines if line]
    if most is None or len(lines) <= most:
        return tuple(lines)
    return (*lines[: most - 1], shorten(f"{lines[most - 1]} {lines[most]}…", kind, room_mm))


def _pieces(word: str, kind: Type, room_mm: float) -> list[str]:
    pieces = [""]
    for c in word:
        if pieces[-1] and width_mm(pieces[-1] + c, kind) > room_mm:
            pieces.append("")
        pieces[-1] += c
    return pieces


@cache
def _families() -> tuple[str, ...]:
    """The shipped font, then fonts of other scripts that are installed."""
    installed = {entry.name for entry in fontManager.ttflist}
    return ("DejaVu Sans", *(name for name in _OTHER_SCRIPTS if name in installed))


@cache
def _has_glyph(c: str) -> bool:
    return all(any(ord(c) in _charmap(name, style) for name in _families()) for style in _STYLES)


@cache
def _charmap(family: str, style: str) -> frozenset[int]:
    bold, italic = style == "bold", style == "italic"
    font = FontProperties(
        family=family, weight="bold" if bold else "normal", style="italic" if italic else "normal"
    )
    return frozenset(get_font(findfont(font)).get_charmap())


@cache
def _advance_mm(c: str, kind: Type) -> float:
    width, _, _ = text_to_path.get_text_width_height_descent(c, kind.font, ismath=False)
    return float(width) * MM_PER_POINT
