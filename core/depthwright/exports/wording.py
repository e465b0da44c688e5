"""What image and tables say of a line beside its numbers: depth model, evidence, source."""

import math
from dataclasses import replace
from datetime import datetime
from pathlib import PureWindowsPath

from depthwright import __version__, wave
from depthwright.constants import PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.errors import joined
from depthwright.job import FaceMark, Job, Line, Mark, Tie
from depthwright.results.values import COVERAGE_FACTOR, BarRow, EvidenceRow, LineModel, Results
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

MOST_KNOWN_NAMED = 3
"""More known depths than this are counted, not named, in the sentence on what depths rest on."""
LONGEST_FOOTING = 360
LEAST_SHORT_MM = 0.1
"""Nearer to the specified cover than a cover is ever printed to."""
MOST_BARS_NAMED = 8

EVIDENCE = "Each piece of evidence with the permittivity that it alone would give."

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
        footing_words(results, job.unit, line.id),
        f"{antenna.name}: separation {separation}, height {height}, "
        f"{antenna.centre_frequency_ghz:g} GHz ({antenna.source}).",
        f"Direct wave at {line.direct.time_ns:.2f} ns, two-way times from {_zero_words(model)} ps before it.",
    )


def footing_words(results: Results, unit: LengthUnit, line_id: str = "") -> str:
    """What depths rest on and how good they are; many known depths are counted, since the evidence
    names each."""
    known = sum(row.kind == "tie" and row.used for row in results.evidence)
    said = footing(results, unit, line_id)
    if known <= MOST_KNOWN_NAMED and len(said) <= LONGEST_FOOTING:
        return said
    count = f"{known} known depth{'s' if known > 1 else ''}"
    counted = (count, *results.adopted_from[known:]) if known else results.adopted_from
    return footing(replace(results, adopted_from=counted), unit, line_id)


def evidence_words(results: Results) -> tuple[str, ...]:
    """Each piece of evidence with the permittivity it alone would give, and what is said of it."""
    return tuple(evidence_word(row) for row in results.evidence)


def evidence_word(row: EvidenceRow) -> str:
    """One piece of evidence in a sentence."""
    note = row.note or ("" if row.used else "Not used.")
    more = f"; {note[0].lower()}{note[1:]}" if note else "."
    return f"{row.label[:1].upper()}{row.label[1:]} {_alone(row)}{more}"


def _alone(row: EvidenceRow) -> str:
    """``gives 8.4 (5.9 to 12.1)``; what no wave could do is said instead."""
    if row.permittivity <= PERMITTIVITY_MIN * (1 + 1e-6):
        return "needs a wave faster than in air"
    if row.permittivity >= PERMITTIVITY_MAX * (1 - 1e-6):
        return "needs a wave slower than in water"
    low, high = row.interval
    places = 2 if high - row.permittivity < 0.1 else 1
    least = f"under {PERMITTIVITY_MIN:g}" if low < PERMITTIVITY_MIN else f"{low:.{places}f}"
    most = f"over {PERMITTIVITY_MAX:g}" if high > PERMITTIVITY_MAX else f"{high:.{places}f}"
    return f"gives {row.permittivity:.{places}f} ({least} to {most})"


def curvature_words(job: Job, line: Line, results: Results) -> tuple[str, ...]:
    """Of which bars of a line the curvature counts; nothing where there are none."""
    bars = results.lines[line.id].bars
    if not bars:
        return ()
    if not job.zone_of(line).curvature:
        return ("Curvature is switched off and does not count.",)
    counted = [bar.number for bar in bars if (line.id, bar.mark_id) in results.curved]
    if not counted:
        return ("On this line no bar's curvature counts.",)
    if len(counted) == len(bars) > 1:
        return (f"On this line the curvature of all {len(bars)} bars counts.",)
    if len(counted) > MOST_BARS_NAMED:
        return (
            f"On this line the curvature of {len(counted)} of {len(bars)} bars counts; the bar "
            "schedule says of which.",
        )
    names = _bars(counted)
    return (f"On this line the curvature of {names[0].lower()}{names[1:]} counts.",)


def outlook_words(results: Results, unit: LengthUnit, line_id: str = "") -> tuple[str, ...]:
    """What the deep interval would be with less and with more evidence."""
    outlook = results.outlooks[line_id]
    if outlook is None:
        return ()
    rows = "; ".join(
        f"{row.what} {format_length(row.expanded_mm, unit, {'mm': 1, 'cm': 2, 'in': 2}[unit])}"
        for row in outlook.rows
    )
    return (f"U of {outlook.deep_label} by what is known: {rows}.",)


def set_aside(line: Line, mark_id: str) -> Tie | None:
    """A known depth of a bar or another target that is kept and does not count."""
    tie = getattr(line.mark(mark_id), "tie", None)
    return tie if isinstance(tie, Tie) and not tie.used else None


def distance_words(job: Job, line: Line) -> str:
    """The scale of distances, where they start and which way they go; what of the line is shown."""
    return (
        f"Distance scale {format_scale(line)}; distances from {line.datum}, {line.course}"
        f"{_start_words(line, job.unit)}{crop_words(line, job.unit)}."
    )


def _start_words(line: Line, unit: LengthUnit) -> str:
    """Where the end lies that distances are counted from, when it is not the datum."""
    if not line.reversed:
        return (
            f"; trace position 0 at {format_length(line.start_mm, unit)}" if line.start_mm else ""
        )
    end_mm = line.start_mm + line.scan.first_mm
    return f"; last trace at {format_length(end_mm, unit)}" if end_mm else ""


def crop_words(line: Line, unit: LengthUnit) -> str:
    """``; shown from 200 mm to 3400 mm; 2 marks lie outside``; nothing for a whole line."""
    if line.crop_mm is None:
        return ""
    low, high = (
        format_length(at, unit) for at in sorted(line.on_concrete_mm(at) for at in line.crop_mm)
    )
    outside = sum(not any(map(line.shows, places_mm(mark))) for mark in line.marks)
    count = {0: "", 1: "; 1 mark lies outside"}.get(outside, f"; {outside} marks lie outside")
    return f"; shown from {low} to {high}{count}"


def places_mm(mark: Mark) -> tuple[float, ...]:
    """Recorded positions of a mark: a back face has those of its anchors."""
    if isinstance(mark, FaceMark):
        return tuple(anchor.position_mm for anchor in mark.anchors)
    return (mark.position_mm,)


def format_scale(line: Line) -> str:
    """The distance scale with its U: ``1.000 ± 0.020``; a small U keeps two figures."""
    expanded = COVERAGE_FACTOR * line.distance_scale_u
    places = 3 if expanded == 0 else max(3, 1 - math.floor(math.log10(expanded)))
    return f"{line.distance_scale:.{places}f} ± {expanded:.{places}f}"


def source_words(line: Line) -> str:
    """The scan's file, size and the first 12 digits of its hash."""
    scan = line.scan
    name = PureWindowsPath(scan.path).name or "in memory"
    return (
        f"Scan {name}, sha256 {scan.sha256[:12]}…, {scan.traces} traces of {scan.samples} "
        f"samples every {scan.dt_ns * 1000:g} ps."
    )


def recipe_words(line: Line) -> str:
    """What was done to the samples before they were shown, in the order in which it was done."""
    recipe = line.recipe
    low, high = recipe.band_low_ghz, recipe.band_high_ghz
    typed = f"from {low or 0:g} to {high:g} GHz" if high else f"from {low or 0:g} GHz"
    band = typed if low or high else "to the pulse's band"
    steps = (
        (recipe.repair, "repair"),
        (recipe.dewow, "dewow"),
        (recipe.band, f"band-pass {band}"),
        (recipe.align, "direct wave levelled"),
        (recipe.remove_direct, "direct wave removed"),
        (recipe.remove_background, f"background removed ({recipe.background_from})"),
        (recipe.smooth, "smoothed along the line"),
        (recipe.migrate, "migrated with the adopted depth model"),
        (recipe.envelope, "envelope"),
        (recipe.even_gain, "even gain"),
        (recipe.gain_db_per_100mm > 0, f"gain {recipe.gain_db_per_100mm:g} dB per 100 mm"),
    )
    done = [words for on, words in steps if on]
    return f"Shown with {', '.join(done)}." if done else "Shown as recorded."


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
    names = joined([str(number) for number in numbers])
    return f"Bar{'s' if len(numbers) > 1 else ''} {names}"


def short_of_mm(row: BarRow, job: Job) -> float:
    """How far a bar's cover falls short of the specified cover, mm; 0 when it does not visibly."""
    if job.specified_cover_mm is None or not math.isfinite(row.cover.value_mm):
        return 0.0
    short = job.specified_cover_mm - row.cover.value_mm
    return short if short >= LEAST_SHORT_MM else 0.0


def short_words(short_mm: float, unit: LengthUnit) -> str:
    """A shortfall with its unit; one decimal more where it would be none."""
    places = {"mm": 0, "cm": 1, "in": 2}[unit]
    if round(from_mm(short_mm, unit), places) == 0:
        places += 1
    return format_length(short_mm, unit, places)


def _zero_words(model: LineModel) -> str:
    """How long before the direct wave times begin, with its U, ps."""
    zero_ns, u_ns = model.posterior.time_zero(model.line_index)
    return f"{1000 * zero_ns:.0f} ± {1000 * COVERAGE_FACTOR * u_ns:.0f}".replace("-", "−")
