"""What image and tables say of a line beside its numbers: depth model, evidence, source."""

import math
from datetime import datetime
from pathlib import PureWindowsPath

from depthwright import __version__, wave
from depthwright.job import Job, Line
from depthwright.results.values import COVERAGE_FACTOR, BarRow, LineModel, Results
from depthwright.results.words import footing
from depthwright.units import (
    THIN_SPACE,
    LengthUnit,
    format_length,
    format_plain,
    from_mm,
)

TARGET_LETTERS = {"duct": "D", "conduit": "C", "void": "V", "unknown": "?"}

UNIT_WORDS: dict[LengthUnit, str] = {"mm": "millimetres", "cm": "centimetres", "in": "inches"}

TIES = "Known depths are given with their standard uncertainty, or with limits where it says so."


def day_and_time(when: datetime) -> str:
    """``2026-03-14 09:26 +01:00``; without a zone it is local time."""
    aware = when if when.tzinfo else when.astimezone()
    return aware.isoformat(sep=" ", timespec="minutes").replace("+", " +")


def program() -> str:
    """``Depthwright 0.1.0``."""
    return f"Depthwright {__version__}"


def model_words(job: Job, line: Line, results: Results) -> tuple[str, ...]:
    """The line's depth model and what it rests on, in sentences."""
    antenna, model = job.antenna_of(line), results.lines[line.id].model
    log_permittivity, log_u = model.posterior.line_log_permittivity(model.line_index)
    permittivity = format_plain(
        model.permittivity, COVERAGE_FACTOR * math.exp(log_permittivity) * log_u
    )
    velocity = format_length(
        wave.velocity_mm_per_ns(model.permittivity),
        job.unit,
        {"mm": 0, "cm": 1, "in": 2}[job.unit],
    )
    separation, height = (
        f"{round(from_mm(value, job.unit), 2):g}{THIN_SPACE}{job.unit}"
        for value in (antenna.separation_mm, antenna.height_mm)
    )
    return (
        f"Permittivity {permittivity}, velocity {velocity}/ns.",
        footing(results, job.unit),
        f"{antenna.name}: separation {separation}, height {height}, "
        f"{antenna.centre_frequency_ghz:g} GHz ({antenna.source}).",
        f"Direct wave at {line.direct.time_ns:.2f} ns, two-way times from {_zero_words(model)} ps before it.",
    )


def evidence_words(results: Results) -> tuple[str, ...]:
    """Each piece of evidence with the permittivity it alone would give."""
    words = []
    for row in results.evidence:
        alone = format_plain(row.permittivity, COVERAGE_FACTOR * row.permittivity_u)
        used = "" if row.used else " (not used)"
        words.append(f"{row.label[:1].upper()}{row.label[1:]} alone gives {alone}{used}.")
    return tuple(words)


def distance_words(job: Job, line: Line) -> str:
    """Where distances start, which way they go, and their scale."""
    start = (
        f"; trace position 0 at {format_length(line.start_mm, job.unit)}" if line.start_mm else ""
    )
    scale = format_scale(line)
    return f"Distances from {line.datum}, {line.direction}{start}; distance scale {scale}."


def format_scale(line: Line) -> str:
    """The distance scale with its U: ``1.000 ± 0.020``."""
    return f"{line.distance_scale:.3f} ± {COVERAGE_FACTOR * line.distance_scale_u:.3f}"


def source_words(line: Line) -> str:
    """The scan's file, size and the first 12 digits of its hash."""
    scan = line.scan
    name = PureWindowsPath(scan.path).name or "in memory"
    return (
        f"Scan {name}, sha256 {scan.sha256[:12]}…, {scan.traces} traces of {scan.samples} "
        f"samples every {scan.dt_ns * 1000:g} ps."
    )


def recipe_words(line: Line) -> str:
    """What was done to the samples before they were shown."""
    recipe = line.recipe
    steps = []
    if recipe.dewow:
        steps.append("dewow")
    if recipe.remove_background:
        steps.append("background removed")
    if recipe.gain_db_per_100mm > 0:
        steps.append(f"gain {recipe.gain_db_per_100mm:g} dB per 100 mm")
    return f"Shown with {', '.join(steps)}." if steps else "Shown as recorded."


def remarks_on_bars(bars: tuple[BarRow, ...]) -> tuple[str, ...]:
    """Which bars lie on the direct wave's tail and which have no depth."""
    tail = [bar.number for bar in bars if bar.overlaps_direct]
    early = [bar.number for bar in bars if not math.isfinite(bar.cover.value_mm)]
    words = []
    if tail:
        verb, its = (
            ("lies", "its interval is") if len(tail) == 1 else ("lie", "their intervals are")
        )
        words.append(f"{_bars(tail)} {verb} on the tail of the direct wave: {its} wider.")
    if early:
        verb = "comes" if len(early) == 1 else "come"
        words.append(f"{_bars(early)} {verb} before any echo from inside the concrete: no depth.")
    return tuple(words)


def _bars(numbers: list[int]) -> str:
    """``Bar 4``, ``Bars 4, 7 and 9``."""
    *first, last = (str(number) for number in numbers)
    return f"Bars {', '.join(first)} and {last}" if first else f"Bar {last}"


def short_of_mm(row: BarRow, job: Job) -> float:
    """How far a bar's cover falls short of the specified cover, mm; 0 when it does not."""
    if job.specified_cover_mm is None or not math.isfinite(row.cover.value_mm):
        return 0.0
    return max(0.0, job.specified_cover_mm - row.cover.value_mm)


def _zero_words(model: LineModel) -> str:
    """How long before the direct wave times begin, with its U, ps."""
    zero_ns, u_ns = model.posterior.time_zero(model.line_index)
    return f"{1000 * zero_ns:.0f} ± {1000 * COVERAGE_FACTOR * u_ns:.0f}".replace("-", "−")
