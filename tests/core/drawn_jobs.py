"""Jobs and edits drawn by Hypothesis: every kind of mark, any text, numbers to the ends of their ranges."""

from typing import Any

import hypothesis.strategies as st

from depthwright import edits
from depthwright.job import (
    Anchor,
    Antenna,
    BarMark,
    DirectPick,
    FaceMark,
    Given,
    Job,
    Line,
    Meter,
    NoteMark,
    ScanRef,
    Taped,
    TargetMark,
    Tie,
    Zone,
)
from depthwright.measuring.picking import Pick
from depthwright.processing.recipe import Recipe

TEXTS = st.text(max_size=12) | st.sampled_from(
    ["[ 1,\n 2 ]", '"\\', "“日本”", "\u2028\u202e", "\0"]
)
ANY = st.floats(allow_nan=False, allow_infinity=False)
POSITIVE = st.floats(5e-324, 1.7e308, exclude_min=False)
NOT_NEGATIVE = st.just(0.0) | POSITIVE
FREQUENCIES = st.floats(5e-324, 1e3)
TIMES = st.floats(-1e6, 1e6)
NUMBERS = st.integers(1, 10**40)
ORIGINS = st.sampled_from(
    ["cover meter", "drilled hole or core", "drawing", "exposed target", "other"]
)
TIES = st.builds(
    Tie,
    depth_mm=st.floats(5e-324, 1e7),
    plus_minus_mm=st.floats(1e-6, 1e9),
    limits=st.booleans(),
    origin=ORIGINS,
    meter_diameter_mm=st.none() | POSITIVE,
    set_aside=TEXTS,
)
SHARP = {
    "id": st.just("m"),
    "number": NUMBERS,
    "position_mm": ANY,
    "position_u_mm": NOT_NEGATIVE,
    "time_ns": ANY,
    "overlaps_direct": st.booleans(),
    "stage": TEXTS,
    "tie": st.none() | TIES,
}
BARS = st.builds(
    BarMark,
    diameter_mm=POSITIVE,
    crossing_deg=st.floats(20, 90),
    crest=st.lists(st.tuples(ANY, ANY), max_size=3).map(tuple),
    **SHARP,
)
TARGETS = st.builds(
    TargetMark, what=st.sampled_from(["duct", "conduit", "pipe", "void", "unknown"]), **SHARP
)
ANCHORS = st.builds(Anchor, position_mm=ANY, time_ns=ANY, tie=st.none() | TIES)
FACES = st.builds(
    FaceMark,
    id=st.just("m"),
    number=NUMBERS,
    anchors=st.lists(ANCHORS, min_size=1, max_size=3).map(tuple),
)
NOTES = st.builds(NoteMark, id=st.just("m"), position_mm=ANY, time_ns=ANY, text=TEXTS)
SCANS = st.builds(
    ScanRef,
    path=st.just(""),
    size_bytes=st.integers(0, 2**70),
    sha256=st.sampled_from(["", "ab" * 32]),
    traces=NUMBERS,
    samples=st.integers(2, 10**9),
    dt_ns=POSITIVE,
    first_mm=ANY,
    given=st.builds(
        Given,
        dt_ns=st.none() | POSITIVE,
        traces_in=st.sampled_from([None, "rows", "columns"]),
        data_set=TEXTS,
    ),
)
CROPS = st.tuples(ANY, ANY).map(sorted).map(tuple).filter(lambda ends: ends[0] < ends[1])
RECIPES = st.builds(
    Recipe,
    band=st.booleans(),
    background_from=st.sampled_from(["whole line", "moving window", "bar-free traces"]),
    gain_db_per_100mm=st.floats(0, 60),
    migrate=st.booleans(),
)
LINES = st.builds(
    Line,
    id=st.just("l"),
    name=TEXTS,
    scan=SCANS,
    zone=st.just("z0"),
    antenna=st.just("a0"),
    datum=TEXTS,
    direction=TEXTS,
    start_mm=ANY,
    distance_scale=st.floats(0.1, 10),
    distance_scale_u=NOT_NEGATIVE,
    turned_mm=st.none() | ANY,
    taped=st.none() | st.builds(Taped, recorded_mm=ANY, u_mm=NOT_NEGATIVE, reversed=st.booleans()),
    crop_mm=st.none() | CROPS,
    direct=st.builds(DirectPick, time_ns=TIMES, frequency_ghz=st.none() | FREQUENCIES),
    recipe=RECIPES,
    marks=st.lists(st.one_of(BARS, TARGETS, FACES, NOTES), max_size=3).map(tuple),
)
ZONES = st.builds(
    Zone, id=st.just("z"), name=TEXTS, permittivity=st.floats(1, 100), curvature=st.booleans()
)
ANTENNAS = st.builds(
    Antenna, id=st.just("a"), name=TEXTS, centre_frequency_ghz=FREQUENCIES, time_offset_ns=TIMES
)
METERS = st.builds(
    Meter,
    id=st.just("meter"),
    name=TEXTS,
    reading_u_mm=st.floats(5e-324, 1e6),
    shared=st.floats(0, 0.99),
)


def _numbered(parts: list[Any]) -> tuple[Any, ...]:
    return tuple(
        part.model_copy(update={"id": f"{part.id}{number}"}) for number, part in enumerate(parts)
    )


def _job(fields: dict[str, Any]) -> Job:
    lines, count = [], 0
    for line in _numbered(fields.pop("lines")):
        marks = []
        for mark in line.marks:
            marks.append(mark.model_copy(update={"id": f"m{count}"}))
            count += 1
        lines.append(line.model_copy(update={"marks": tuple(marks)}))
    parts = {name: _numbered(fields.pop(name)) for name in ("zones", "antennas", "meters")}
    return Job(lines=tuple(lines), **parts, **fields)


JOBS = st.fixed_dictionaries(
    {
        "name": TEXTS,
        "note": TEXTS,
        "unit": st.sampled_from(["mm", "cm", "in"]),
        "specified_cover_mm": st.none() | POSITIVE,
        "zones": st.lists(ZONES, min_size=1, max_size=2),
        "antennas": st.lists(ANTENNAS, min_size=1, max_size=2),
        "meters": st.lists(METERS, min_size=1, max_size=2),
        "lines": st.lists(LINES, max_size=2),
    }
).map(_job)


# Edits, each by its name and the numbers it is made with.

NAMES = (
    "bar", "target", "note", "anchor", "move", "tie", "untie", "delete", "delete anchor", "tie anchor",
    "number", "renumber", "reverse", "crop", "shift", "stretch", "recipe", "zone", "clear", "antenna", "job",
    "add line", "remove line",
)  # fmt: skip
STEPS = st.tuples(
    st.sampled_from(NAMES), st.integers(0, 5), st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)
)


def edited(job: Job, step: tuple[str, int, float, float]) -> Job:
    """The job after one edit; what it is made on is counted round.

    Raises
    ------
    DepthwrightError
        When the edit is refused.
    """
    name, which, one, two = step
    if name == "job":
        return edits.change_job(job, name=f"Job {which}", specified_cover_mm=one)
    if name == "zone":
        return edits.type_permittivity(job, job.zones[which % len(job.zones)], abs(one), abs(two))
    if name == "clear":
        return edits.clear_permittivity(job, job.zones[which % len(job.zones)])
    if name == "antenna":
        return edits.change_antenna(job, job.antennas[0].id if job.antennas else "", height_mm=one)
    if name == "add line":
        there = any(antenna.id == AN_ANTENNA.id for antenna in job.antennas)
        line = a_line(edits.new_id(job, "line"))
        return edits.add_line(job, line, None if there else AN_ANTENNA)
    if not job.lines:
        return job
    return _on_line(job, job.lines[which % len(job.lines)], step)


AN_ANTENNA = Antenna(id="antenna-1", centre_frequency_ghz=2.0)


def a_line(line_id: str) -> Line:
    """A line without marks."""
    scan = ScanRef(path="", size_bytes=1, sha256="", traces=9, samples=9, dt_ns=0.1)
    return Line(
        id=line_id,
        name=line_id,
        scan=scan,
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=1.0),
    )


def _on_line(job: Job, line: Line, step: tuple[str, int, float, float]) -> Job:
    name, which, one, two = step
    crest = tuple((one + number, two) for number in range(which))
    pick = Pick(one, abs(two), two, crest=crest)
    face = next((mark.id for mark in line.marks if isinstance(mark, FaceMark)), None)
    made = {
        "bar": lambda: edits.add_bar(job, line.id, pick)[0],
        "target": lambda: edits.add_target(job, line.id, pick, "duct")[0],
        "note": lambda: edits.add_note(job, line.id, one, two, f"note {which}")[0],
        "anchor": lambda: edits.add_anchor(job, line.id, face, pick)[0],
        "renumber": lambda: edits.renumber_bars(job, line.id),
        "reverse": lambda: edits.reverse_line(job, line.id, (one, two)),
        "crop": lambda: edits.crop_line(job, line.id, (one, two) if which else None),
        "shift": lambda: edits.shift_line(job, line.id, one),
        "stretch": lambda: edits.stretch_line(job, line.id, 0.0, one, 100.0, one + two, 2.0),
        "recipe": lambda: edits.change_line(job, line.id, recipe=Recipe(migrate=which > 2)),
        "remove line": lambda: edits.remove_line(job, line.id),
    }
    if name in made:
        return made[name]()
    return _on_mark(job, line, face, step) if line.marks else job


def _on_mark(job: Job, line: Line, face: str | None, step: tuple[str, int, float, float]) -> Job:
    name, which, one, two = step
    mark = line.marks[which % len(line.marks)]
    if name == "delete anchor":
        return edits.delete_anchor(job, line.id, face, 0) if face else job
    if name == "tie anchor":
        tie = Tie(depth_mm=abs(one) + 1, plus_minus_mm=1)
        return edits.change_anchor(job, line.id, face, 0, tie=tie) if face else job
    if name == "move":
        return edits.change_mark(job, line.id, mark.id, position_mm=one, time_ns=two)
    if name == "tie":
        tie = Tie(depth_mm=abs(one) + 1, plus_minus_mm=abs(two) + 0.1)
        return edits.tie_mark(job, line.id, mark.id, tie)
    if name == "untie":
        return edits.tie_mark(job, line.id, mark.id, None)
    if name == "number":
        return edits.number_bar(job, line.id, mark.id, which)
    return edits.delete_mark(job, line.id, mark.id)
