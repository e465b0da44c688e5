"""How SEG-Y stores samples: its formats, decoded to single precision and encoded from it.

Formats as in *SEG-Y_r2.0* (SEG Technical Standards Committee, 2017), recalled from memory. Only the SEG-Y
reader and writer import this.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.scan import Block


@dataclass(frozen=True)
class SampleFormat:
    """One way to store a sample.

    Parameters
    ----------
    kind
        numpy's code of the number that is stored, or of the 4 bytes it is widened to.
    words
        What it is called.
    bytes
        What a sample takes in the file.
    """

    kind: str
    words: str
    bytes: int

    @property
    def cut_short(self) -> bool:
        """Whether fewer bytes are stored than numpy has a number for."""
        return self.bytes < np.dtype(self.kind).itemsize

    def stored(self, order: str) -> np.dtype[np.generic]:
        """How numpy sees a sample in the file: a number, or its bare bytes."""
        return np.dtype(("u1", (self.bytes,)) if self.cut_short else order + self.kind)


FORMATS = {
    1: SampleFormat("u4", "IBM floating point, 4 bytes", 4),
    2: SampleFormat("i4", "integer, 4 bytes", 4),
    3: SampleFormat("i2", "integer, 2 bytes", 2),
    5: SampleFormat("f4", "IEEE floating point, 4 bytes", 4),
    6: SampleFormat("f8", "IEEE floating point, 8 bytes", 8),
    7: SampleFormat("i4", "integer, 3 bytes", 3),
    8: SampleFormat("i1", "integer, 1 byte", 1),
    9: SampleFormat("i8", "integer, 8 bytes", 8),
    10: SampleFormat("u4", "unsigned integer, 4 bytes", 4),
    11: SampleFormat("u2", "unsigned integer, 2 bytes", 2),
    12: SampleFormat("u8", "unsigned integer, 8 bytes", 8),
    15: SampleFormat("u4", "unsigned integer, 3 bytes", 3),
    16: SampleFormat("u1", "unsigned integer, 1 byte", 1),
}
"""Sample formats by code."""

IBM_FLOAT = 1
_NOT_FINITE = (5, 6)
"""Formats that can hold what is no finite number."""


def decode_samples(
    stored: NDArray[np.generic], code: int, order: str, out: Block | None = None
) -> Block:
    """Turn samples as stored in format ``code`` into single precision; into ``out`` if given.

    Parameters
    ----------
    stored
        Shape (traces, samples), with the bare bytes of a sample along a third axis if there is one.
    """
    form = FORMATS[code]
    numbers = _widened(stored, form, order) if form.cut_short else stored
    block = np.empty(numbers.shape, np.float32) if out is None else out
    # Numbers beyond single precision become infinite, which the caller counts.
    with np.errstate(over="ignore", invalid="ignore"):
        block[...] = ibm_to_float(numbers.astype(np.uint32)) if code == IBM_FLOAT else numbers
    return block


def encode_samples(samples: Block, code: int, order: str) -> NDArray[np.generic]:
    """Turn samples into format ``code`` as stored; integers are rounded and not scaled."""
    form = FORMATS[code]
    if code not in _NOT_FINITE and not np.isfinite(samples).all():
        raise DepthwrightError(
            "Some samples are not finite numbers, which only formats 5 and 6 can hold.",
            "Replace them first, or write format 5.",
        )
    if code == IBM_FLOAT:
        return float_to_ibm(samples).astype(form.stored(order))
    numbers = samples.astype(np.float64)
    kind = np.dtype(order + form.kind)
    if kind.kind != "f":
        numbers = np.rint(numbers)
        low, high = _limits(form)
        if numbers.min() < low or numbers.max() >= high + 1:
            raise DepthwrightError(
                f"The samples reach beyond {low} to {high}, which is all that SEG-Y format {code}"
                " can hold.",
                "Scale them first, or write format 5.",
            )
    encoded = numbers.astype(kind)
    return _narrowed(encoded, form, order) if form.cut_short else encoded


def _limits(form: SampleFormat) -> tuple[int, int]:
    bits = 8 * form.bytes
    return (0, 2**bits - 1) if form.kind[0] == "u" else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def _widened(stored: NDArray[np.generic], form: SampleFormat, order: str) -> NDArray[np.generic]:
    """Put cut numbers at the upper end of whole ones; shifting these down again keeps the sign."""
    kind = np.dtype(order + form.kind)
    wide = np.zeros((*stored.shape[:-1], kind.itemsize), np.uint8)
    wide[..., _upper_bytes(form, order)] = stored
    numbers: NDArray[np.generic] = np.right_shift(wide.view(kind)[..., 0], _lower_bits(form))
    return numbers


def _narrowed(numbers: NDArray[np.generic], form: SampleFormat, order: str) -> NDArray[np.generic]:
    upper = np.left_shift(numbers, _lower_bits(form)).astype(numbers.dtype)
    narrow: NDArray[np.generic] = upper[..., np.newaxis].view(np.uint8)
    return narrow[..., _upper_bytes(form, order)]


def _upper_bytes(form: SampleFormat, order: str) -> slice:
    lower = _lower_bits(form) // 8
    return slice(lower, None) if order == "<" else slice(None, -lower)


def _lower_bits(form: SampleFormat) -> int:
    return 8 * (np.dtype(form.kind).itemsize - form.bytes)


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
