"""Writing SEG-Y, rev 1 where its formats do and rev 2 for the others."""

import math
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.files.segy_headers import (
    Record,
    binary_header_dtype,
    encode_text,
    trace_dtype,
)
from depthwright.files.segy_numbers import FORMATS, encode_samples
from depthwright.scan import BLOCK_TRACES

WRITTEN_FORMATS = tuple(FORMATS)
_FORMATS_OF_REV_1 = (1, 2, 3, 5, 8)
_ORDER_CONSTANT = 0x01020304
_COORDINATE_SCALAR = -10  # coordinates in tenths of a millimetre
_LARGEST_FIELD = 32767  # two bytes that some readers take as signed
_LARGEST_POSITION_MM = (2**31 - 1) / -_COORDINATE_SCALAR


def write_segy(
    path: str | Path,
    samples: NDArray[np.float32],
    dt_ns: float,
    positions_mm: NDArray[np.float64],
    separation_mm: float | None = None,
    sample_format: int = 5,
    byte_order: Literal["big", "little"] = "big",
    text: str = "",
) -> None:
    """Write a line as SEG-Y, whole or not at all.

    The interval fields hold picoseconds and the coordinates tenths of a millimetre; the text header
    says so.

    Parameters
    ----------
    path
        File to write; an existing one is replaced.
    samples
        Shape (traces, samples). Integer formats round and do not scale.
    dt_ns
        Sample interval, ns; to the nearest picosecond in the headers, in full in the text header.
    positions_mm
        Midpoint of each trace, mm, shape (traces,); kept to 0.1 mm.
    separation_mm
        Antenna separation, mm; kept to 1 mm.
    sample_format
        Code of the standard, one of :data:`WRITTEN_FORMATS`: 1 IBM float, 5 and 6 IEEE floats of 4
        and 8 bytes, the others integers.
    byte_order
        ``"big"`` is the standard's.
    text
        Lines for the text header.
    """
    interval_ps = round(dt_ns * 1000) if math.isfinite(dt_ns) else 0
    _check_writable(samples, interval_ps, positions_mm, sample_format)
    order = ">" if byte_order == "big" else "<"
    binary = np.zeros(1, binary_header_dtype(order))
    binary["interval"] = interval_ps
    binary["samples"] = samples.shape[1]
    binary["format"] = sample_format
    if sample_format in _FORMATS_OF_REV_1:
        binary["revision"] = 1
    else:
        binary["revision"], binary["order_constant"] = 2, _ORDER_CONSTANT
    binary["fixed_length"] = 1
    layout = trace_dtype(order, sample_format, samples.shape[1])
    with replacing(Path(path)) as file:
        file.write(encode_text([*_unit_lines(dt_ns), *text.splitlines()]))
        file.write(binary.tobytes())
        for first in range(0, len(samples), BLOCK_TRACES):
            here = slice(first, first + BLOCK_TRACES)
            records = np.zeros(len(samples[here]), layout)
            records["samples"] = encode_samples(samples[here], sample_format, order)
            _fill_headers(records["header"], first, positions_mm[here])
            records["header"]["samples"] = samples.shape[1]
            records["header"]["interval"] = interval_ps
            records["header"]["offset"] = round(separation_mm or 0)
            file.write(records.tobytes())


def _unit_lines(dt_ns: float) -> list[str]:
    return [
        f"SAMPLE INTERVAL FIELDS ARE IN PICOSECONDS: {dt_ns * 1000:.9g} PS",
        "COORDINATES ARE MIDPOINTS IN MM: BYTES 73, 81, 181, SCALAR IN BYTES 71",
        "OFFSET (BYTES 37) IS THE ANTENNA SEPARATION IN MM, 0 IF NOT KNOWN",
    ]


def _check_writable(
    samples: NDArray[np.float32],
    interval_ps: int,
    positions_mm: NDArray[np.float64],
    sample_format: int,
) -> None:
    if sample_format not in WRITTEN_FORMATS:
        raise DepthwrightError(
            f"SEG-Y sample format {sample_format} is not written.",
            f"Use one of {', '.join(map(str, WRITTEN_FORMATS))}.",
        )
    if samples.ndim != 2 or not samples.size or samples.shape[1] > _LARGEST_FIELD:
        raise DepthwrightError(
            f"Samples of shape {samples.shape} do not fit into a SEG-Y file.",
            f"A line has traces, each of 1 to {_LARGEST_FIELD} samples.",
        )
    if not 1 <= interval_ps <= _LARGEST_FIELD:
        raise DepthwrightError(
            f"A sample interval of {interval_ps} ps does not fit into a SEG-Y file.",
            f"It has room for 1 to {_LARGEST_FIELD} ps.",
        )
    if positions_mm.shape != samples.shape[:1] or not np.isfinite(positions_mm).all():
        raise DepthwrightError("A SEG-Y file needs one finite position for each trace.")
    if np.abs(positions_mm).max() > _LARGEST_POSITION_MM:
        raise DepthwrightError(
            f"Positions beyond {_LARGEST_POSITION_MM:.0f} mm do not fit into a SEG-Y file.",
            "Measure them from a point closer to the line.",
        )


def _fill_headers(headers: Record, first: int, positions_mm: NDArray[np.float64]) -> None:
    number = np.arange(first + 1, first + len(headers) + 1)
    for name in ("number_in_line", "number_in_file", "number_in_record"):
        headers[name] = number
    headers["kind"] = 1
    headers["coordinate_scalar"] = _COORDINATE_SCALAR
    coordinate = np.rint(positions_mm * -_COORDINATE_SCALAR).astype(np.int32)
    for name in ("source_x", "group_x", "ensemble_x"):
        headers[name] = coordinate
