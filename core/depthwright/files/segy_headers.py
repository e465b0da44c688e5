"""Where things are in a SEG-Y file, and how its numbers and letters are coded.

Byte numbers count from 1 as in the standard: *SEG-Y_r1.0: SEG-Y rev 1 Data Exchange format* (SEG
Technical Standards Committee, 2002) and *SEG-Y_r2.0* (2017), recalled from memory. Only the SEG-Y reader
and writer import this.
"""

import numpy as np
from numpy.typing import NDArray

TEXT_BYTES = 3200
BINARY_BYTES = 400
FIRST_TRACE = TEXT_BYTES + BINARY_BYTES
TRACE_HEADER_BYTES = 240

Record = NDArray[np.void]
"""Structured array with the fields of one of the layouts below."""

_BINARY_FIELDS = (
    ("interval", "u2", 3217),
    ("samples", "u2", 3221),
    ("format", "i2", 3225),
    ("measurement_system", "i2", 3255),
    ("extended_samples", "u4", 3269),
    ("extended_interval", "f8", 3273),
    ("revision", "u1", 3501),
    ("fixed_length", "i2", 3503),
    ("extended_texts", "i2", 3505),
    ("extra_headers", "u4", 3507),
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
    ("samples", "u2", 115),
    ("interval", "u2", 117),
    ("ensemble_x", "i4", 181),
    ("ensemble_y", "i4", 185),
)

FORMATS = {
    1: ("u4", "IBM floating point, 4 bytes"),
    2: ("i4", "integer, 4 bytes"),
    3: ("i2", "integer, 2 bytes"),
    5: ("f4", "IEEE floating point, 4 bytes"),
    6: ("f8", "IEEE floating point, 8 bytes"),
    8: ("i1", "integer, 1 byte"),
    10: ("u4", "unsigned integer, 4 bytes"),
    11: ("u2", "unsigned integer, 2 bytes"),
    16: ("u1", "unsigned integer, 1 byte"),
}
"""Sample formats by code: how one sample is stored, and what it is called."""

IBM_FLOAT = 1

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
                (np.dtype(order + FORMATS[code][0]), (samples,)),
            ],
            "offsets": [0, TRACE_HEADER_BYTES * (1 + extra_headers)],
        }
    )


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


def ibm_to_float(words: NDArray[np.uint32]) -> NDArray[np.float64]:
    """Decode IBM System/360 floats: sign, 7 bits of power of 16, 24 bits of fraction.

    Right for fractions that are not normalised too (leading hexadecimal zeros).
    """
    fraction = (words & 0x00FFFFFF).astype(np.float64)
    power = ((words >> 24) & 0x7F).astype(np.int32)
    value: NDArray[np.float64] = np.ldexp(fraction, 4 * (power - 64) - 24)
    np.negative(value, out=value, where=(words >> 31).astype(bool))
    return value


def float_to_ibm(values: NDArray[np.float32]) -> NDArray[np.uint32]:
    """Encode finite numbers as IBM System/360 floats, rounded to the nearest."""
    mantissa, exponent = np.frexp(np.abs(values.astype(np.float64)))
    power = -(-exponent // 4)
    fraction = np.rint(np.ldexp(mantissa, 24 + exponent - 4 * power)).astype(np.uint32)
    carried = fraction >> 24
    fraction >>= 4 * carried
    words: NDArray[np.uint32] = ((power + 64).astype(np.uint32) + carried) << 24 | fraction
    words[fraction == 0] = 0
    words[np.signbit(values)] |= np.uint32(0x80000000)
    return words


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
