"""Invented lines for the exports: Ricker pulses at the travel times of bars and a back face."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from matplotlib.figure import Figure

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.exports.figure import ImageStyle, line_figure
from depthwright.job import (
    Anchor,
    Antenna,
    BarMark,
    DirectPick,
    FaceMark,
    Job,
    Line,
    Mark,
    NoteMark,
    ScanRef,
    TargetMark,
    Tie,
)
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, track_faces
from depthwright.results.values import Results
from depthwright.scan import Scan, scan_from_array

PERMITTIVITY, SEPARATION_MM, HEIGHT_MM, FREQUENCY_GHZ = 8.0, 40.0, 3.0, 1.8
DT_NS, ZERO_NS, OFFSET_NS = 0.02, 1.0, 0.02
PAGES_KEPT = 16


@dataclass(frozen=True)
class Scene:
    """A job of one line with its scan and results."""

    job: Job
    scan: Scan
    results: Results

    @property
    def line(self) -> Line:
        return self.job.lines[0]


def ricker(time_ns: np.ndarray) -> np.ndarray:
    a = (np.pi * FREQUENCY_GHZ * time_ns) ** 2
    return (1 - 2 * a) * np.exp(-a)


def echo_ns(depth_mm: float) -> float:
    two_way = wave.travel_time(depth_mm, PERMITTIVITY, SEPARATION_MM, HEIGHT_MM).time_ns
    return ZERO_NS + float(two_way)


def samples_of(
    length_mm: float, spacing_mm: float, covers: Sequence[tuple[float, float]], face_mm: float
) -> np.ndarray:
    """Samples of a line, shape (traces, samples): direct wave, hyperbolas, back face, noise."""
    time = np.arange(0, 6.4, DT_NS)
    where = np.arange(0, length_mm + spacing_mm / 2, spacing_mm)
    direct = ZERO_NS + SEPARATION_MM / C_MM_PER_NS + OFFSET_NS
    data = np.tile(ricker(time - direct), (len(where), 1))
    for position, cover in covers:
        near = np.abs(where - position) < 250
        slant = np.hypot(cover + 6, where[near] - position) - 6
        arrivals = ZERO_NS + wave.travel_time(slant, PERMITTIVITY, SEPARATION_MM, HEIGHT_MM).time_ns
        fade = (cover / slant) ** 1.5
        data[near] -= 0.6 * fade[:, None] * ricker(time[None, :] - arrivals[:, None])
    if face_mm:
        data += 0.35 * ricker(time - echo_ns(face_mm))[None, :]
    noise = np.random.default_rng(11).normal(scale=0.01, size=data.shape)
    return (data + noise).astype(np.float32)


def make_scene(
    bars: int = 4,
    *,
    face: bool = True,
    tied: bool = True,
    face_tied: bool = False,
    extras: tuple[Mark, ...] = (),
    pitch_mm: float = 180.0,
    line_fields: dict | None = None,
    **job_fields: object,
) -> Scene:
    """A deck with bars under 25 to 55 mm of cover and a back face at 160 mm."""
    covers = [(100 + pitch_mm * i, 40 + 15 * np.sin(1.7 * i)) for i in range(bars)]
    length = max(600.0, 200 + pitch_mm * (bars - 1))
    scan = scan_from_array(
        samples_of(length, 5.0, covers, 160.0 if face else 0.0), DT_NS, 5.0,
        separation_mm=SEPARATION_MM,
    )  # fmt: skip
    marks: list[Mark] = [
        BarMark(
            id=f"bar-{i}", number=i, position_mm=at, position_u_mm=1.5, time_ns=echo_ns(cover),
            overlaps_direct=cover < 28,
            tie=Tie(depth_mm=round(cover, 1), plus_minus_mm=1.0) if tied and i == 1 else None,
        )
        for i, (at, cover) in enumerate(covers, start=1)
    ]  # fmt: skip
    if face:
        tie = Tie(depth_mm=160.0, plus_minus_mm=2.0, origin="drilled hole or core")
        anchors = (
            Anchor(position_mm=60.0, time_ns=echo_ns(160.0), tie=tie if face_tied else None),
            Anchor(position_mm=length - 60.0, time_ns=echo_ns(160.0)),
        )
        marks.append(FaceMark(id="face-1", number=1, anchors=anchors))
    antenna = Antenna(
        id="antenna-1", name="Antenna", separation_mm=SEPARATION_MM, height_mm=HEIGHT_MM,
        centre_frequency_ghz=FREQUENCY_GHZ, direct_shift="measured", time_offset_ns=OFFSET_NS,
        source="separation from the file, the rest assumed",
    )  # fmt: skip
    line = Line(
        id="line-1",
        scan=ScanRef(
            path="/somewhere/line_a.sgy", size_bytes=1, sha256=scan.sha256, traces=scan.traces,
            samples=scan.samples, dt_ns=DT_NS,
        ),
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=ZERO_NS + SEPARATION_MM / C_MM_PER_NS + OFFSET_NS),
        marks=(*marks, *extras),
        **{"name": "Line A", "datum": "north-west corner", "direction": "towards the ramp",
           **(line_fields or {})},
    )  # fmt: skip
    job = Job(
        **{"name": "Deck, bay 3", "note": "Invented demo data", **job_fields},
        antennas=(antenna,),
        lines=(line,),
    )
    stages = {"line-1": pick_stage(job, line, scan)}
    return Scene(job, scan, evaluate(job, track_faces(job, stages)))


EXTRAS: tuple[Mark, ...] = (
    TargetMark(
        id="target-1", number=1, position_mm=330.0, position_u_mm=3.0, time_ns=echo_ns(75.0),
        what="conduit",
    ),
    TargetMark(
        id="target-2", number=2, position_mm=520.0, position_u_mm=3.0, time_ns=echo_ns(110.0),
        what="unknown",
    ),
    NoteMark(id="note-1", position_mm=230.0, time_ns=echo_ns(100.0), text="Damp patch, see photo"),
)  # fmt: skip


@pytest.fixture(scope="session")
def scene() -> Callable[..., Scene]:
    """Gives a scene: the same one, frozen, whenever the same is asked for."""
    made: dict[str, Scene] = {}

    def given(*what: object, **fields: object) -> Scene:
        key = repr((what, sorted(fields.items())))
        if key not in made:
            made[key] = make_scene(*what, **fields)
        return made[key]

    return given


@pytest.fixture(scope="session")
def extras() -> tuple[Mark, ...]:
    """A conduit, something unknown, and a note."""
    return EXTRAS


def changed(made: Scene, change: Callable[[Mark], Mark], **zone: object) -> Scene:
    """The scene with its marks changed, and its results for them."""
    line = made.line
    moved = line.model_copy(update={"marks": tuple(change(mark) for mark in line.marks)})
    zones = (made.job.zones[0].model_copy(update=zone),)
    job = made.job.model_copy(update={"lines": (moved,), "zones": zones})
    stages = {"line-1": pick_stage(job, moved, made.scan)}
    return replace(made, job=job, results=evaluate(job, track_faces(job, stages)))


@pytest.fixture
def set_aside() -> Callable[[Scene, str, str], Scene]:
    """Gives a bar a known depth that is set aside for a reason."""

    def aside(made: Scene, mark_id: str, reason: str) -> Scene:
        tie = Tie(depth_mm=61.0, plus_minus_mm=1.0, set_aside=reason)
        return changed(
            made, lambda mark: mark.model_copy(update={"tie": tie}) if mark.id == mark_id else mark
        )

    return aside


@pytest.fixture
def tied_throughout() -> Callable[..., Scene]:
    """Gives every bar a known depth, every so many of them set aside."""

    def tied(made: Scene, aside_every: int = 0, reason: str = "wrong bar") -> Scene:
        covers = {row.mark_id: row.cover.value_mm for row in made.results.lines["line-1"].bars}

        def change(mark: Mark) -> Mark:
            if not isinstance(mark, BarMark):
                return mark
            aside = aside_every and mark.number % aside_every == 0
            tie = Tie(
                depth_mm=round(covers[mark.id], 1),
                plus_minus_mm=1.0,
                set_aside=reason if aside else "",
            )
            return mark.model_copy(update={"tie": tie})

        return changed(made, change)

    return tied


@pytest.fixture
def with_crests() -> Callable[[Scene, Sequence[str]], Scene]:
    """Picks the crests of some bars, as straight rays in the concrete would give them."""

    def crested(made: Scene, mark_ids: Sequence[str]) -> Scene:
        away = np.linspace(-80, 80, 17)

        def change(mark: Mark) -> Mark:
            if mark.id not in mark_ids:
                return mark
            cover = 40 + 15 * np.sin(1.7 * (mark.number - 1))
            late = wave.bar_time(away, cover, 6.0, PERMITTIVITY, SEPARATION_MM).time_ns
            times = (mark.time_ns + late - late.min()).tolist()
            crest = tuple(zip((mark.position_mm + away).tolist(), times, strict=True))
            return mark.model_copy(update={"crest": crest})

        return changed(made, change)

    return crested


@pytest.fixture
def without_curvature() -> Callable[[Scene], Scene]:
    """Switches curvature off."""
    return lambda made: changed(made, lambda mark: mark, curvature=False)


@pytest.fixture
def warned() -> Callable[..., Scene]:
    """Puts warnings as long as they come on a scene."""

    def with_warnings(made: Scene, times: int = 1) -> Scene:
        return replace(made, results=replace(made.results, warnings=WARNINGS * times))

    return with_warnings


WARNINGS = (
    "The known depths disagree: bar 2 is 3.4 and bar 5 is 2.6 standard uncertainties away from what the "
    "rest says. Until that is settled no interval here holds. The bar next to bar 2 is 55 mm away: a "
    "cover meter reads low over bars that close. Check which bar each reading was taken on, the antenna "
    "separation and the time offset; or leave out the one that is wrong.",
    "The antenna separation of 60 mm is assumed, to a standard uncertainty of 10 mm. Give that of the "
    "antenna used.",
)


@pytest.fixture(scope="session")
def now() -> datetime:
    """The time printed."""
    return datetime(2026, 3, 14, 9, 26, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture(scope="session")
def draw(now: datetime) -> Callable[..., Figure]:
    """Gives a scene's page, to be read and not changed; the last ones are kept."""
    pages: list[tuple[Scene, ImageStyle | None, Figure]] = []

    def drawn(made: Scene, style: ImageStyle | None = None) -> Figure:
        for known, how, page in pages:
            if known is made and how == style:
                return page
        page = line_figure(made.job, "line-1", made.scan, made.results, now, style)
        pages.append((made, style, page))
        del pages[:-PAGES_KEPT]
        return page

    return drawn
