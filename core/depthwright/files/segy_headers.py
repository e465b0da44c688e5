"""Where things are in a SEG-Y file, and how its letters are coded.

Byte numbers count from 1 as in the standard: *SEG-Y_r1.0: SEG-Y rev 1 Data Exchange format* (SEG
Technical Standards Committee, 2002) and *SEG-Y_r2.0* (2017), recalled from memory. Only the SEG-Y reader
and writer import this.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from depthwright.files.segy_numbers import FORMATS

TEXT_BYTES = 3200
BINARY_BYTES = 400
FIRST_TRACE = TEXT_BYTES + BINARY_BYTES
TRACE_HEADER_BYTES = 240

Record = NDArray[np.void]
"""Structured array with the fields of one of the layouts below."""

_BINARY_FIELDS = (
    ("interval", "u2", 3217),
    ("samples", "u2", 3221),
    ("format", "u2", 3225),
    ("measurement_system", "i2", 3255),
    ("extended_samples", "u4", 3269),
    ("extended_interval", "f8", 3273),
    ("order_constant", "u4", 3297),
    ("revision", "u1", 3501),
    ("fixed_length", "i2", 3503),
    ("extended_texts", "i2", 3505),
    ("extra_headers", "u4", 3507),
    ("extra_headers_of_2_1", "u2", 3507),
    ("stated_traces", "u8", 3513),
    ("first_trace", "u8", 3521),
    ("trailers", "i4", 3529),
)

_TRACE_FIELDS = (
    ("number_in_line", "i4", 1),
    ("number_in_file", "i4", 5),
    ("number_in_record", "i4", 13),
    ("kind", "i2", 29),
    ("offset", "i4", 37),
    ("coordinate_scalar", "i2", 71),
    ("source_x", "i4", 73),
    ("source_y", "i4", 77),
    ("group_x", "i4", 81),
    ("group_y", "i4", 85),
    ("coordinate_units", "u2", 89),
    ("delay", "i2", 109),
    ("samples", "u2", 115),
    ("interval", "u2", 117),
    ("ensemble_x", "i4", 181),
    ("ensemble_y", "i4", 185),
)

HEADER_FIELDS = np.dtype([(name, kind) for name, kind, _ in _TRACE_FIELDS])
"""What is kept of a trace header, side by side and in the machine's byte order."""

_STEADY_FIELDS = ("kind", "coordinate_scalar", "samples", "interval")

_FEWEST = 4
"""Headers by which it can be told where they end."""

ORDER_WORDS = {">": "big", "<": "little"}


def binary_header_dtype(order: str) -> np.dtype[np.void]:
    """Layout of the 400 bytes after the text header; ``order`` is ``">"`` or ``"<"``."""
    return _layout(_BINARY_FIELDS, order, TEXT_BYTES, BINARY_BYTES)


def trace_dtype(order: str, code: int, samples: int, extra_headers: int = 0) -> np.dtype[np.void]:
    """Layout of one trace: its ``header`` and its ``samples`` as stored."""
    return np.dtype(
        {
            "names": ["header", "samples"],
            "formats": [
                _layout(_TRACE_FIELDS, order, 0, TRACE_HEADER_BYTES),
                (FORMATS[code].stored(order), (samples,)),
            ],
            "offsets": [0, TRACE_HEADER_BYTES * (1 + extra_headers)],
        }
    )


@cache
def _layout(
    fields: tuple[tuple[str, str, int], ...], order: str, before: int, size: int
) -> np.dtype[np.void]:
    return np.dtype(
        {
            "names": [name for name, _, _ in fields],
            "formats": [order + kind for _, kind, _ in fields],
            "offsets": [byte - 1 - before for _, _, byte in fields],
            "itemsize": size,
        }
    )


def trace_header(raw: bytes, order: str) -> Record:
    """Fields of one trace header of 240 bytes."""
    header: Record = np.frombuffer(raw, _layout(_TRACE_FIELDS, order, 0, TRACE_HEADER_BYTES))[0]
    return header


def looks_like(header: Record, other: Record) -> bool:
    """Tell whether something may be a trace header of the same line as another.

    What hardly ever changes along a line is compared, as far as it is filled in: one field may lie.
    """
    filled = [name for name in _STEADY_FIELDS if other[name]]
    alike = sum(int(header[name] == other[name]) for name in filled or _STEADY_FIELDS)
    return 2 * alike > len(filled) if filled else alike == len(_STEADY_FIELDS)


def traces_before_strays(headers: Record) -> int:
    """Count the traces before the place from which on nothing looks like a trace header.

    That is so where bytes are missing or too many. Headers that are left empty or are numbered on are no
    strays, and a single one may lie.
    """
    first = headers[0]
    filled = [name for name in _STEADY_FIELDS if first[name]]
    if len(headers) < _FEWEST or not filled or not looks_like(headers[1], first):
        return len(headers)
    alike = np.sum([headers[name] == first[name] for name in filled], axis=0)
    fine = (2 * alike > len(filled)) | ~are_filled(headers)
    for name in ("number_in_line", "number_in_file"):
        number = headers[name].astype(np.int64) - int(first[name])
        fine |= number == np.arange(len(headers))
    until = int(np.flatnonzero(fine)[-1]) + 1
    return until if len(headers) - until > 1 else len(headers)


def are_filled(headers: Record) -> NDArray[np.bool_]:
    """Tell in which of the headers something stands, shape (traces,)."""
    filled = np.zeros(len(headers), bool)
    for name in headers.dtype.names or ():
        filled |= headers[name] != 0
    return filled


def commonest(values: NDArray[np.integer]) -> int:
    """Return the value that most traces have."""
    found, counts = np.unique(values, return_counts=True)
    return int(found[counts.argmax()])


def encode_text(lines: list[str]) -> bytes:
    """Write up to 40 lines of 80 characters as an EBCDIC text header, "C 1" first."""
    cards = [f"C{n:2d} {line}"[:80].ljust(80) for n, line in enumerate(lines[:40], start=1)]
    cards += [f"C{n:2d}".ljust(80) for n in range(len(cards) + 1, 41)]
    return "".join(cards).encode("cp037", errors="replace")


def decode_text(raw: bytes) -> str:
    """Read a text header, EBCDIC or ASCII, as lines without trailing blanks."""
    # An EBCDIC blank is 0x40, an ASCII blank 0x20: the commoner one tells which code it is.
    text = raw.decode("cp037" if raw.count(b"\x40") >= raw.count(b"\x20") else "latin-1")
    lines = [text[start : start + 80].rstrip("\x00 ") for start in range(0, len(text), 80)]
    return "\n".join(
        "".join(c if c.isprintable() else " " for c in line) for line in lines
    ).rstrip()
