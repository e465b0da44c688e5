"""Words for a terminal or a pipe, whatever signs it knows. No Qt here."""

import codecs
import io
from collections.abc import Iterable
from typing import TextIO

PLAIN_SIGNS = {
    "±": "+-",
    "−": "-",
    "–": "-",
    "—": "-",
    "×": "x",
    "·": ";",
    "…": "...",
    "“": '"',
    "”": '"',
    "‘": "'",
    "’": "'",
    "″": '"',
    "µ": "u",
    "μ": "u",
    "²": "^2",
    "½": "1/2",
    "√": "sqrt",
    "°": " deg",
    "\u00a0": " ",
    "\u2009": " ",
    "\u202f": " ",
    "→": "->",
}
"""How signs of the program's own are written where a terminal has none for them."""
_NAME = "depthwright.plain"


def write_every_sign(streams: Iterable[TextIO | None]) -> None:
    """Let streams write what they have no sign for in plain letters; what has none, by its number."""
    codecs.register_error(_NAME, _plainly)
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_NAME)


def _plainly(fault: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    sign = fault.object[fault.start]
    if sign in PLAIN_SIGNS:
        return PLAIN_SIGNS[sign], fault.start + 1
    one = UnicodeEncodeError(
        fault.encoding, fault.object, fault.start, fault.start + 1, fault.reason
    )
    return codecs.backslashreplace_errors(one)
