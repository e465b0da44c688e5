"""Where the traces of a SEG-Y file end: cut, padded, counted wrongly, or each of its own length."""

from dataclasses import replace
from io import BufferedReader

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.segy_headers import (
    TRACE_HEADER_BYTES,
    Record,
    are_filled,
    looks_like,
    trace_header,
    traces_before_strays,
)
from depthwright.files.segy_layout import Layout
from depthwright.files.segy_numbers import FORMATS
from depthwright.files.segy_traces import pieces

_AGAIN = "save the line again from the instrument."
_MOST_WALKED = 200_000
"""Traces that are followed one by one; what differs in length does so before."""


def find_end(
    name: str, file: BufferedReader, layout: Layout, headers: Record
) -> tuple[Layout, Record]:
    """Say what is missing or too much at the end, and leave out what is no trace.

    Parameters
    ----------
    headers
        Those of the traces for which the layout has room, shape (traces,).

    Raises
    ------
    DepthwrightError
        If the traces differ in length.
    """
    piece = _piece(file, layout)
    first = headers[0]
    lengths = {*np.unique(headers["samples"]).tolist()}
    if piece is not None and looks_like(piece, first):
        lengths.add(int(piece["samples"]))
    if len(lengths) > 1 and (walked := _walk(file, layout, headers, piece)):
        raise DepthwrightError(
            f"The traces of {name} differ in length ({min(walked)} to {max(walked)} samples), which"
            " is not read.",
            "Export the line again with traces of one length.",
        )
    headers = headers[: _counted(layout, headers)]
    traces = traces_before_strays(headers)
    is_astray = traces < len(headers)
    if not is_astray:
        traces = _traces_before_room(file, layout, headers)
    left_over = layout.left_over + (layout.traces - traces) * layout.dtype.itemsize
    layout = replace(layout, traces=traces, left_over=left_over)
    if is_astray:
        ending = _astray(layout)
    elif left_over < layout.dtype.itemsize and _begins_a_trace(
        file, layout, first, headers[traces - 1]
    ):
        ending = _cut(layout)
    else:
        ending = _not_cut(layout)
    return replace(layout, ending=ending), headers[:traces]


def _piece(file: BufferedReader, layout: Layout) -> Record | None:
    """Header of what comes after the whole traces, if it is all there."""
    file.seek(layout.first_byte + layout.traces * layout.dtype.itemsize)
    raw = file.read(min(TRACE_HEADER_BYTES, layout.left_over))
    return trace_header(raw, layout.order) if len(raw) == TRACE_HEADER_BYTES else None


def _walk(file: BufferedReader, layout: Layout, headers: Record, piece: Record | None) -> set[int]:
    """Follow the traces by the length that each one states: these, if that leads through the file.

    Nothing if it does not, or if all are alike. Up to the first header that differs, traces lie as the
    layout says.
    """
    differing = np.flatnonzero(headers["samples"] != layout.samples)
    number = int(differing[0]) if len(differing) else len(headers)
    header = headers[number] if len(differing) else piece
    found = {layout.samples} if number else set[int]()
    end = layout.first_byte + layout.traces * layout.dtype.itemsize + layout.left_over
    at = layout.first_byte + number * layout.dtype.itemsize
    for _ in range(_MOST_WALKED):
        if header is None or not (header["samples"] and _same_but_for_length(header, headers[0])):
            return set()
        samples = int(header["samples"])
        at += TRACE_HEADER_BYTES * (1 + layout.extra_headers)
        at += samples * FORMATS[layout.code].bytes
        if at == end:
            found.add(samples)
        if at + TRACE_HEADER_BYTES > end:
            break
        file.seek(at)
        header = trace_header(file.read(TRACE_HEADER_BYTES), layout.order)
        if _same_but_for_length(header, headers[0]):
            found.add(samples)
    return found if len(found) > 1 else set()


def _same_but_for_length(header: Record, first: Record) -> bool:
    return all(header[name] == first[name] for name in ("kind", "coordinate_scalar", "interval"))


def _counted(layout: Layout, headers: Record) -> int:
    """Count the traces, as the header does if what follows is no further one."""
    stated = layout.stated_traces
    if 0 < stated < len(headers) and not looks_like(headers[stated], headers[0]):
        return stated
    return len(headers)


def _traces_before_room(file: BufferedReader, layout: Layout, headers: Record) -> int:
    """Count the traces without the empty room after the last one."""
    filled = np.flatnonzero(are_filled(headers))
    traces = int(filled[-1]) + 1 if len(filled) else len(headers)
    for at, raw in pieces(file, layout, traces, len(headers)):
        has_bytes = np.frombuffer(raw, np.uint8).reshape(-1, layout.dtype.itemsize).any(axis=1)
        if has_bytes.any():
            traces = at + int(np.flatnonzero(has_bytes)[-1]) + 1
    return traces


def _begins_a_trace(file: BufferedReader, layout: Layout, first: Record, last: Record) -> bool:
    """Tell whether the piece after the last whole trace is one more, as far as its bytes go."""
    file.seek(layout.first_byte + layout.traces * layout.dtype.itemsize)
    raw = file.read(layout.left_over)
    if not any(raw):
        return False
    piece = trace_header(raw[:TRACE_HEADER_BYTES].ljust(TRACE_HEADER_BYTES, b"\0"), layout.order)
    if len(raw) >= TRACE_HEADER_BYTES:
        return looks_like(piece, last) or looks_like(piece, first)
    # A part of a header is told by its number, in bytes 1 to 8.
    return any(
        len(raw) >= until and int(piece[name]) - int(last[name]) == 1
        for name, until in (("number_in_line", 4), ("number_in_file", 8))
    )


def _astray(layout: Layout) -> str:
    number = layout.traces
    return (
        f"No trace follows trace {number} where one should: something else comes there, or bytes are"
        f" missing from trace {number}. The traces up to it are shown; copy the file again, or {_AGAIN}"
    )


def _cut(layout: Layout) -> str:
    number = layout.traces + 1
    in_samples = layout.left_over - TRACE_HEADER_BYTES * (1 + layout.extra_headers)
    whole = max(in_samples, 0) // FORMATS[layout.code].bytes
    place = f"in trace {number}, after {whole} of {layout.samples} samples"
    if in_samples <= 0:
        place = f"in the header of trace {number}"
    return f"This file ends {place}. {_shown(layout)}; {_AGAIN}"


def _shown(layout: Layout) -> str:
    if layout.stated_traces > layout.traces:
        return f"{layout.traces} of {layout.stated_traces} traces are whole and are shown"
    if layout.traces == 1:
        return "The one whole trace is shown"
    return f"The {layout.traces} whole traces are shown"


def _not_cut(layout: Layout) -> str:
    said = []
    if layout.traces < layout.stated_traces:
        said.append(
            f"This file holds {layout.traces} of {layout.stated_traces} traces, which are shown;"
            f" {_AGAIN}"
        )
    elif 0 < layout.stated_traces < layout.traces:
        said.append(
            f"This file counts {layout.stated_traces} traces and holds {layout.traces}, which are"
            " all shown."
        )
    if layout.left_over:
        traces = "the only trace" if layout.traces == 1 else f"the last of {layout.traces} traces"
        said.append(
            f"After {traces} come {layout.left_over} bytes that are no trace and are left out."
        )
    return " ".join(said)
