"""What the headers and the size of a SEG-Y file say about where its traces are.

Decides byte order, sample format and sizes, and refuses what is no SEG-Y file or cannot be read. Headers
lie, so each count that they give is tried: does it lead from one trace header to the next, and to the end
of the file? Says nothing about units.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import BinaryIO

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact, Stated
from depthwright.files.segy_headers import (
    FIRST_TRACE,
    ORDER_WORDS,
    TEXT_BYTES,
    TRACE_HEADER_BYTES,
    Record,
    binary_header_dtype,
    decode_text,
    looks_like,
    trace_dtype,
    trace_header,
)
from depthwright.files.segy_numbers import FORMATS

_KNOWN_CODES = range(1, 17)
_FEET = 2
_MOST_SAMPLES = 1_000_000
_MOST_TRACE_BYTES = 2**25
_MOST_TEXTS = 1000
"""Extended text headers among which the last one is looked for."""
_LAST_TEXT = b"((SEG:ENDTEXT))"
_PAIRS_SWAPPED = (b"\x02\x01\x04\x03", b"\x03\x04\x01\x02")
"""What the constant 0x01020304 of rev 2 becomes."""


@dataclass(frozen=True)
class Layout:
    """Where the samples of one file are.

    Parameters
    ----------
    order
        Byte order of the traces: ``">"`` for big-endian, ``"<"`` for little-endian.
    code
        Sample format of the standard.
    traces, samples
        Whole traces in the file, samples in each.
    first_byte
        Offset of the first trace.
    extra_headers
        Further headers of 240 bytes before the samples of each trace (rev 2).
    left_over
        Bytes after the last whole trace, without what the header announces there.
    stated_traces
        Traces that the header counts (rev 2); 0 where it does not.
    interval_fields
        Sample interval in the binary header, as stored.
    in_feet
        Whether the header says that lengths are in feet.
    plain
        Whether the headers are those of rev 0 or 1 with nothing unusual in them.
    text
        The text header.
    ending
        Sentences on what is missing or too much at the end of the file.
    """

    order: str
    code: int
    traces: int
    samples: int
    first_byte: int
    extra_headers: int
    left_over: int
    stated_traces: int
    interval_fields: tuple[Stated, ...]
    in_feet: bool
    plain: bool
    text: str
    ending: str = ""

    @cached_property
    def dtype(self) -> np.dtype[np.void]:
        """Layout of one trace."""
        return trace_dtype(self.order, self.code, self.samples, self.extra_headers)

    @property
    def facts(self) -> tuple[Fact, ...]:
        size = f"{self.traces} traces of {self.samples} samples"
        return (
            Fact("Byte order", "", f"{ORDER_WORDS[self.order]}-endian"),
            Fact("Sample format", str(self.code), FORMATS[self.code].words),
            Fact("Size", "", size, self.ending),
        )


@dataclass(frozen=True)
class _Place:
    """Where the traces begin, how many bytes are left from there, and what the first header says."""

    file: BinaryIO
    first_byte: int
    body: int
    order: str
    first: Record

    @classmethod
    def find(
        cls, file: BinaryIO, first_byte: int, size: int, order: str, stated: list[int]
    ) -> "_Place":
        """Read the first header; some files have their traces the other way round than their header."""
        file.seek(first_byte)
        raw = file.read(TRACE_HEADER_BYTES)
        other = "<" if order == ">" else ">"
        swapped = _samples_in(raw, other)
        if swapped and swapped in stated and _samples_in(raw, order) not in stated:
            order = other
        return cls(file, first_byte, size - first_byte, order, trace_header(raw, order))

    def has_header(self, at: int) -> bool:
        """Tell whether a trace header stands so many bytes after the first one, or the file ends there."""
        raw = self._header(at)
        return len(raw) < TRACE_HEADER_BYTES or looks_like(
            trace_header(raw, self.order), self.first
        )

    def is_blank(self, at: int) -> bool:
        """Tell whether nothing stands where a header would."""
        return not any(self._header(at))

    def _header(self, at: int) -> bytes:
        self.file.seek(self.first_byte + at)
        return self.file.read(TRACE_HEADER_BYTES)


@dataclass(frozen=True)
class _Shape:
    """How the traces may lie: one guess from what the headers say."""

    samples: int
    extra_headers: int
    trace_bytes: int
    body: int


def read_layout(name: str, file: BinaryIO, size: int) -> Layout:
    """Decide the layout of an open file of ``size`` bytes, called ``name`` in messages."""
    head = file.read(FIRST_TRACE)
    if len(head) < FIRST_TRACE:
        what = "is empty" if not head else f"holds only {len(head)} bytes"
        raise DepthwrightError(
            f"{name} {what}; the headers alone of a SEG-Y file take {FIRST_TRACE} bytes.",
            "Export or copy the line again.",
        )
    order, binary = _binary_header(name, head, file.read(TRACE_HEADER_BYTES), size)
    revision = _revision(head)
    first_byte = _first_byte(name, file, size, binary, revision)
    if size - first_byte < TRACE_HEADER_BYTES:
        raise DepthwrightError(f"{name} holds no traces.", "Export or copy the line again.")
    stated = _stated_samples(binary, revision)
    place = _Place.find(file, first_byte, size, order, stated)
    shape = _choose(name, place, list(_shapes(place, binary, revision, stated)), stated)
    intervals = [Stated("bytes 3217", float(binary["interval"]))]
    if revision == 2:
        intervals.insert(0, Stated("bytes 3273", float(binary["extended_interval"])))
    return Layout(
        order=place.order,
        code=int(binary["format"]),
        traces=shape.body // shape.trace_bytes,
        samples=shape.samples,
        first_byte=first_byte,
        extra_headers=shape.extra_headers,
        left_over=shape.body % shape.trace_bytes,
        stated_traces=int(binary["stated_traces"]) if revision == 2 else 0,
        interval_fields=tuple(intervals),
        in_feet=int(binary["measurement_system"]) == _FEET,
        plain=order == place.order
        and shape.samples == int(binary["samples"])
        # Others follow the fields of rev 2 whatever revision the file claims.
        and not (any(head[3260:3500]) or any(head[3504:])),
        text=decode_text(head[:TEXT_BYTES]),
    )


# Byte order.


def _binary_header(name: str, head: bytes, first: bytes, size: int) -> tuple[str, Record]:
    """Find the byte order in which the sample format is one of the standard's.

    Only one can be: 1 to 16 read the other way round are 256 to 4096.
    """
    if head[3296:3300] in _PAIRS_SWAPPED and 2 in head[3500:3502]:
        raise DepthwrightError(
            f"{name} stores its numbers with the bytes swapped in pairs, which is not read.",
            "Export it again, big-endian or little-endian.",
        )
    binaries: dict[str, Record] = {
        order: np.frombuffer(head, binary_header_dtype(order), 1, TEXT_BYTES)[0] for order in "><"
    }
    codes = {order: int(binary["format"]) for order, binary in binaries.items()}
    again = f"Export it again with one of the formats {', '.join(map(str, FORMATS))}."
    for order, code in codes.items():
        if code in FORMATS:
            return order, binaries[order]
        if code in _KNOWN_CODES:
            raise DepthwrightError(
                f"{name} stores its samples in SEG-Y format {code}, which is not read.", again
            )
    for order, code in sorted(codes.items(), key=lambda each: each[1]):
        if 0 < _samples_in(first, order) == int(binaries[order]["samples"]):
            raise DepthwrightError(
                f"{name} gives {code} as its sample format (bytes 3225 to 3226), which SEG-Y does"
                " not have.",
                again,
            )
    raise _no_segy(name, head, size)


def _no_segy(name: str, head: bytes, size: int) -> DepthwrightError:
    for order in "><":
        samples = _samples_in(head, order)
        if samples and size % (TRACE_HEADER_BYTES + 4 * samples) == 0:
            return DepthwrightError(
                f"{name} is not a SEG-Y file: it begins with a trace of {samples} samples, where"
                " SEG-Y has its file headers.",
                "Export the line again as SEG-Y, not as traces alone.",
            )
    return DepthwrightError(
        f"{name} is not a SEG-Y file: bytes 3225 to 3226 hold no sample format.",
        "Choose a file that was exported as SEG-Y.",
    )


def _samples_in(raw: bytes, order: str) -> int:
    """Samples that a trace header states; 0 if it is not all there."""
    if len(raw) < TRACE_HEADER_BYTES:
        return 0
    return int(trace_header(raw[:TRACE_HEADER_BYTES], order)["samples"])


# Sizes.


def _revision(head: bytes) -> int:
    """Read the revision, 0 to 2: some little-endian files store 1 as 0x0001, not as 0x0100."""
    if head[3500] in (1, 2):
        return head[3500]
    return int(head[3500:3502] == b"\x00\x01")


def _first_byte(name: str, file: BinaryIO, size: int, binary: Record, revision: int) -> int:
    if revision == 2 and binary["first_trace"] >= FIRST_TRACE:
        return int(binary["first_trace"])
    texts = int(binary["extended_texts"]) if revision else 0
    if texts < 0:
        texts = _texts_to_the_last(name, file)
    if FIRST_TRACE + texts * TEXT_BYTES > size:
        raise DepthwrightError(
            f"{name} holds no traces: it says that {texts} more text headers come before them, and"
            " ends in these.",
            "Export it again without extended text headers.",
        )
    return FIRST_TRACE + texts * TEXT_BYTES


def _texts_to_the_last(name: str, file: BinaryIO) -> int:
    """Count the extended text headers up to the one that says it is the last."""
    file.seek(FIRST_TRACE)
    for count in range(1, _MOST_TEXTS + 1):
        raw = file.read(TEXT_BYTES)
        if len(raw) < TEXT_BYTES:
            break
        for coding in ("cp037", "latin-1"):
            written = raw.decode(coding).encode("ascii", "ignore").upper()
            if _LAST_TEXT in b"".join(written.split()):
                return count
    raise DepthwrightError(
        f"{name} does not say how many text headers come before its traces, and none of them is"
        " marked as the last.",
        "Export it again without extended text headers.",
    )


def _stated_samples(binary: Record, revision: int) -> list[int]:
    extended = int(binary["extended_samples"]) if revision == 2 else 0
    return [count for count in (extended, int(binary["samples"])) if count]


def _shapes(place: _Place, binary: Record, revision: int, stated: list[int]) -> Iterator[_Shape]:
    """Shapes that the headers may mean, the most trusted first.

    Bytes 3507 hold four bytes in rev 2.0 and two in rev 2.1; blocks after the traces may be announced
    and not written.
    """
    further, after = [0], [0]
    if revision == 2:
        further = [int(binary["extra_headers"]), int(binary["extra_headers_of_2_1"]), 0]
        after = [max(int(binary["trailers"]), 0) * TEXT_BYTES, 0]
    counts = [*stated, int(place.first["samples"])]
    width = FORMATS[int(binary["format"])].bytes
    for behind, extra, samples in product(*map(dict.fromkeys, (after, further, counts))):
        if samples:
            trace_bytes = TRACE_HEADER_BYTES * (1 + extra) + samples * width
            yield _Shape(samples, extra, trace_bytes, place.body - behind)


def _choose(name: str, place: _Place, shapes: list[_Shape], stated: list[int]) -> _Shape:
    """Take the shape that leads to the second trace and to the end of the file, as far as one does."""
    if not shapes:
        raise DepthwrightError(
            f"{name} does not say how many samples its traces have.", "Export the line again."
        )
    possible = [
        shape
        for shape in shapes
        if shape.trace_bytes <= min(shape.body, _MOST_TRACE_BYTES)
        and shape.samples <= _MOST_SAMPLES
    ]
    if not possible:
        raise DepthwrightError(
            f"{name} ends before its first trace of {shapes[0].samples} samples is complete.",
            "Export or copy the line again.",
        )

    def merits(shape: _Shape) -> tuple[bool, bool, bool]:
        """Second trace, end of the file, and nothing but announced blocks after the last trace."""
        is_all = shape.body == place.body or not place.has_header(shape.body)
        return place.has_header(shape.trace_bytes), shape.body % shape.trace_bytes == 0, is_all

    best = max(possible, key=merits)
    agreed = best.samples == int(place.first["samples"]) and best.samples in stated
    has_second = best.body >= best.trace_bytes + TRACE_HEADER_BYTES
    leads_on, fits, _ = merits(best)
    is_alone = best.body < 2 * best.trace_bytes or place.is_blank(best.trace_bytes)
    if not (fits or (leads_on and has_second) or (agreed and is_alone)):
        raise DepthwrightError(
            f"{name} does not have its traces where its headers say: no trace follows the first one"
            f" of {best.samples} samples.",
            "Export or copy the line again.",
        )
    return best
