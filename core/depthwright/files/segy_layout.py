"""What the headers and the size of a SEG-Y file say about where its traces are.

Decides byte order, sample format and sizes, and refuses what is no SEG-Y file or cannot be read. Says
nothing about units.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import BinaryIO

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact, Stated
from depthwright.files.segy_headers import (
    FIRST_TRACE,
    FORMATS,
    ORDER_WORDS,
    TEXT_BYTES,
    TRACE_HEADER_BYTES,
    Record,
    binary_header_dtype,
    decode_text,
    trace_dtype,
)

_KNOWN_CODES = range(1, 17)
_FEET = 2
_MOST_SAMPLES = 1_000_000


@dataclass(frozen=True)
class Layout:
    """Where the samples of one file are.

    Parameters
    ----------
    order
        ``">"`` for big-endian, ``"<"`` for little-endian.
    code
        Sample format of the standard.
    traces, samples
        Whole traces in the file, samples in each.
    first_byte
        Offset of the first trace.
    extra_headers
        Further headers of 240 bytes before the samples of each trace (rev 2).
    left_over
        Bytes after the last whole trace.
    interval_fields
        Sample interval in the binary header, as stored.
    in_feet
        Whether the header says that lengths are in feet.
    plain
        Whether the file is a whole one of rev 0 or 1 with nothing unusual in it.
    text
        The text header.
    """

    order: str
    code: int
    traces: int
    samples: int
    first_byte: int
    extra_headers: int
    left_over: int
    interval_fields: tuple[Stated, ...]
    in_feet: bool
    plain: bool
    text: str

    @cached_property
    def dtype(self) -> np.dtype[np.void]:
        """Layout of one trace."""
        return trace_dtype(self.order, self.code, self.samples, self.extra_headers)

    @property
    def facts(self) -> tuple[Fact, ...]:
        cut = ""
        if self.left_over:
            cut = (
                f"After {self.traces} whole traces come {self.left_over} bytes, less than the"
                f" {self.dtype.itemsize} of a trace: the file is cut short or padded. The whole traces"
                " are read."
            )
        return (
            Fact("Byte order", "", f"{ORDER_WORDS[self.order]}-endian"),
            Fact("Sample format", str(self.code), FORMATS[self.code][1]),
            Fact("Size", "", f"{self.traces} traces of {self.samples} samples", cut),
        )


def read_layout(name: str, file: BinaryIO, size: int) -> Layout:
    """Decide the layout of an open file of ``size`` bytes, called ``name`` in messages."""
    head = file.read(FIRST_TRACE)
    if len(head) < FIRST_TRACE:
        what = "is empty" if not head else f"holds only {len(head)} bytes"
        raise DepthwrightError(
            f"{name} {what}; the headers alone of a SEG-Y file take {FIRST_TRACE} bytes.",
            "Export or copy the line again.",
        )
    order, binary = _binary_header(name, head)
    code = int(binary["format"])
    revision = max(head[3500], head[3501])  # rev 1 stores 0x0100, some little-endian files 0x0001
    revision = revision if revision <= 2 else 0
    extra_headers = int(binary["extra_headers"]) if revision == 2 else 0
    first_byte = _first_byte(name, binary, revision)
    trailers = max(int(binary["trailers"]), 0) if revision == 2 else 0
    body = size - first_byte - trailers * TEXT_BYTES
    if body < TRACE_HEADER_BYTES:
        raise DepthwrightError(f"{name} holds no traces.", "Export or copy the line again.")
    stated = _stated_samples(binary, revision)
    in_trace = _samples_of_first_trace(file, order, first_byte)
    samples, trace_bytes = _choose_samples(
        name, (stated, in_trace), body, np.dtype(FORMATS[code][0]).itemsize, extra_headers
    )
    intervals = [Stated("bytes 3217", float(binary["interval"]))]
    if revision == 2:
        intervals.insert(0, Stated("bytes 3273", float(binary["extended_interval"])))
    return Layout(
        order=order,
        code=code,
        traces=body // trace_bytes,
        samples=samples,
        first_byte=first_byte,
        extra_headers=extra_headers,
        left_over=body % trace_bytes,
        interval_fields=tuple(intervals),
        in_feet=int(binary["measurement_system"]) == _FEET,
        # segyio follows these two fields whatever revision the file claims.
        plain=revision < 2
        and not (binary["extended_texts"] or binary["extended_samples"])
        and samples == stated
        and body % trace_bytes == 0,
        text=decode_text(head[:TEXT_BYTES]),
    )


def _binary_header(name: str, head: bytes) -> tuple[str, Record]:
    """Find the byte order in which the sample format is one of the standard's."""
    for order in "><":
        binary: Record = np.frombuffer(head, binary_header_dtype(order), 1, TEXT_BYTES)[0]
        code = int(binary["format"])
        if code in FORMATS:
            return order, binary
        if code in _KNOWN_CODES:
            raise DepthwrightError(
                f"{name} stores its samples in SEG-Y format {code}, which is not read.",
                f"Export it again with one of the formats {', '.join(map(str, FORMATS))}.",
            )
    raise DepthwrightError(
        f"{name} is not a SEG-Y file: bytes 3225 to 3226 hold no sample format.",
        "Choose a file that was exported as SEG-Y.",
    )


def _first_byte(name: str, binary: Record, revision: int) -> int:
    if revision == 2 and binary["first_trace"] > 0:
        return int(binary["first_trace"])
    texts = int(binary["extended_texts"]) if revision else 0
    if texts < 0:
        raise DepthwrightError(
            f"{name} does not say how many text headers come before its traces.",
            "Export it again without extended text headers.",
        )
    return FIRST_TRACE + texts * TEXT_BYTES


def _stated_samples(binary: Record, revision: int) -> int:
    extended = int(binary["extended_samples"]) if revision == 2 else 0
    return extended or int(binary["samples"])


def _samples_of_first_trace(file: BinaryIO, order: str, first_byte: int) -> int:
    file.seek(first_byte)
    raw = file.read(TRACE_HEADER_BYTES)
    return int(np.frombuffer(raw, order + "u2", 1, 114)[0])


def _choose_samples(
    name: str, counts: tuple[int, int], body: int, width: int, extra_headers: int
) -> tuple[int, int]:
    """Take the sample count of the binary header unless only the trace's fits the file's size.

    Returns samples and bytes of one trace.
    """
    sizes = [
        (count, TRACE_HEADER_BYTES * (1 + extra_headers) + count * width)
        for count in counts
        if 0 < count <= _MOST_SAMPLES
    ]
    if not sizes:
        raise DepthwrightError(
            f"{name} does not say how many samples its traces have.", "Export the line again."
        )
    whole = [each for each in sizes if body % each[1] == 0]
    samples, trace_bytes = (whole or sizes)[0]
    if trace_bytes > body:
        raise DepthwrightError(
            f"{name} ends before its first trace of {samples} samples is complete.",
            "Export or copy the line again.",
        )
    return samples, trace_bytes
