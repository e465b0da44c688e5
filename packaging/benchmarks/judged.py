"""Lines with a known truth, marked by the program alone, and what that comes to against the truth."""

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from drawn_lines import DT_NS, PAIR, SPACING_MM, drawn_line

from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError
from depthwright.files.antenna_card import read_card
from depthwright.files.readers import open_file
from depthwright.job import FaceMark, Tie
from depthwright.marking.chain import Marked, mark_line
from depthwright.marking.request import Quantity, Request, TieAt
from depthwright.measuring.patch import column_traces
from depthwright.scan import scan_from_array
from depthwright.wave import travel_time

CARD = Path(__file__).resolve().parents[2] / "sample_data" / "antenna_card.json"
MATCH_MM = 20.0
AT_THE_END_MM = 12.0
"""A bar nearer than this to an end of the line shows one flank alone: it counts neither way."""
COVER_MATCH = 0.3
"""A bar that would still be off by a larger share than this with the true permittivity is another thing: of
another mat, or none."""
AWAY_MM = 195.0
"""Points of the back face are judged from 200 mm, less a column, beside a tie on it."""
TIES = ("no tie", "one tie", "two ties")
SURROUNDINGS_NS = 0.8
STANDS_OUT_DB = 6.0


@dataclass(frozen=True)
class Truth:
    """A line with what is in the concrete: bars (position, cover, diameter), thickness along it, mm."""

    name: str
    scan: object
    request: Request
    bars: tuple
    face_mm: tuple
    thickness_mm: tuple
    permittivity: float

    def thickness(self, position_mm):
        return np.interp(position_mm, self.face_mm, self.thickness_mm)


@dataclass(frozen=True)
class Judged:
    """One line marked with some ties, against its truth.

    ``missed_mm`` are the covers of bars that were not found, ``depths_mm`` of all that might have been.
    ``covers`` are (cover over wavelength, error mm, cover mm, whether U holds) of matched bars without a
    tie; ``faces`` (relative error, whether U holds) of points of the back face far from a tie.
    """

    name: str
    ties: str
    bars: int
    matched: int
    wrong: int
    off_mm: tuple
    covers: tuple
    faces: tuple
    visible: int
    visible_found: int
    depths_mm: tuple = ()
    missed_mm: tuple = ()
    failed: str = ""


def drawn_truth(seed):
    """A line of the project's own simulator."""
    drawn = drawn_line(seed)
    scan = scan_from_array(drawn.traces, DT_NS, SPACING_MM, separation_mm=PAIR.separation_mm)
    bars = tuple((bar.position_mm, bar.cover_mm, bar.diameter_mm) for bar in drawn.bars)
    request = Request(
        card=read_card(CARD, "antenna-1"), bar_diameter_mm=bars[0][2] if bars else None
    )
    scene = drawn.scene
    return Truth(
        f"drawn {seed:02d}",
        scan,
        request,
        bars,
        scene.face_mm,
        scene.thickness_mm,
        scene.permittivity,
    )


def truths_in(folder):
    """Lines of a folder of SEG-Y files, each with a JSON file ``NAME_truth.json`` for ``NAME_*.sgy``.

    Used of it: ``scene`` with ``bars`` (``x_mm``, ``cover_to_top_mm``, ``diameter_mm``, ``on_line``),
    ``slab_thickness_mm`` (``x_mm``, ``thickness_mm``), ``relative_permittivity``; ``acquisition`` with
    ``antenna_separation_mm`` and ``antenna_height_mm``.
    """
    for path in sorted(Path(folder).glob("*.sgy")):
        told = json.loads(
            path.with_name(f"{path.stem.split('_')[0]}_truth.json").read_text("utf-8")
        )
        scene, antenna = told["scene"], told["acquisition"]
        bars = tuple(
            (bar["x_mm"], bar["cover_to_top_mm"], bar["diameter_mm"])
            for bar in scene["bars"]
            if bar["on_line"]
        )
        request = Request(
            separation_mm=Quantity(antenna["antenna_separation_mm"], 0.5),
            height_mm=Quantity(antenna["antenna_height_mm"], 1.0),
            bar_diameter_mm=bars[0][2] if bars else None,
        )
        face = scene["slab_thickness_mm"]
        yield Truth(
            path.stem,
            open_file(path),
            request,
            bars,
            tuple(face["x_mm"]),
            tuple(face["thickness_mm"]),
            scene.get("relative_permittivity") or float("nan"),
        )


def judged(truth, ties):
    """A line marked with so many ties; None where it has no bar to tie."""
    if ties != TIES[0] and not _inside(truth):
        return None
    request = replace(truth.request, ties=_ties(truth, ties))
    try:
        marked = mark_line(truth.scan, request)
    except DepthwrightError as problem:
        return Judged(
            truth.name, ties, len(_inside(truth)), 0, 0, (), (), (), 0, 0, failed=str(problem)
        )
    return _against(truth, ties, marked)


def marked_alone(truth):
    """The line marked without a tie, for a picture of it."""
    return mark_line(truth.scan, truth.request)


def _inside(truth):
    first, last = sorted((truth.scan.positions_mm[0], truth.scan.positions_mm[-1]))
    return [bar for bar in truth.bars if first + AT_THE_END_MM <= bar[0] <= last - AT_THE_END_MM]


def _ties(truth, ties):
    if ties == TIES[0]:
        return ()
    position, cover, _ = _tied_bar(truth)
    made = (TieAt("bar", position, Tie(depth_mm=cover, plus_minus_mm=1.0)),)
    if ties == TIES[2]:
        there = _tied_face_mm(truth)
        depth = float(truth.thickness(there))
        tie = Tie(depth_mm=depth, plus_minus_mm=1.0, origin="drilled hole or core")
        made += (TieAt("face", there, tie),)
    return made


def _tied_bar(truth):
    """The bar of the upper mat nearest to the middle of the line."""
    inside, middle = _inside(truth), float(np.mean(truth.scan.positions_mm[[0, -1]]))
    shallow = min(bar[1] for bar in inside)
    upper = [bar for bar in inside if bar[1] <= shallow + 25.0]
    return min(upper, key=lambda bar: abs(bar[0] - middle))


def _tied_face_mm(truth):
    """Between two bars near a third of the line, where a hole is drilled: beside the steel."""
    start, end = sorted((truth.scan.positions_mm[0], truth.scan.positions_mm[-1]))
    wanted = start + (end - start) / 3
    bars = np.array(sorted(bar[0] for bar in truth.bars))
    between = (bars[1:] + bars[:-1]) / 2
    between = between[(between > start) & (between < end)]
    if not len(between):
        return float(wanted)
    return float(between[np.argmin(np.abs(between - wanted))])


def _against(truth, ties, marked: Marked):
    rows = marked.results.lines[marked.line_id]
    tied = _tied_bar(truth)[0] if ties != TIES[0] else None
    wavelength = C_MM_PER_NS / math.sqrt(marked.results.permittivity) * marked.stage.period_ns
    # How far covers are off by the permittivity alone is an error of theirs, not of what was found.
    scale = math.sqrt(marked.results.permittivity / truth.permittivity)
    scale = scale if math.isfinite(scale) else 1.0
    left = list(rows.bars)
    off, covers, missed, matched = [], [], [], 0
    for position, cover, _ in truth.bars:
        near = [
            row
            for row in left
            if abs(row.position.value_mm - position) <= MATCH_MM
            and abs(scale * row.cover.value_mm - cover) <= max(15.0, COVER_MATCH * cover)
        ]
        inside = (position, cover) in [bar[:2] for bar in _inside(truth)]
        if not near:
            missed += [cover] if inside else []
            continue
        row = min(near, key=lambda row: abs(row.position.value_mm - position))
        left.remove(row)
        if not inside:
            continue
        matched += 1
        off.append(abs(row.position.value_mm - position))
        if position != tied:
            error = row.cover.value_mm - cover
            held = abs(error) <= row.cover.expanded_mm
            covers.append((cover / wavelength, error, cover, held))
    faces = _face_errors(truth, ties, rows)
    visible, found = _visible(truth, marked)
    return Judged(
        truth.name, ties, len(_inside(truth)), matched, len(left), tuple(off), tuple(covers), faces,
        visible, found, tuple(cover for _, cover, _ in _inside(truth)), tuple(missed),
    )  # fmt: skip


def _face_errors(truth, ties, rows):
    """Relative errors of the back face, points near a tie on it left out."""
    found = []
    for face in rows.faces:
        true = truth.thickness(face.position_mm)
        far = np.ones(len(true), dtype=bool)
        if ties == TIES[2]:
            far = np.abs(face.position_mm - _tied_face_mm(truth)) >= AWAY_MM
        held = np.abs(face.depth_mm - true) <= 2 * face.depth_u_mm
        found += zip(((face.depth_mm - true) / true)[far], held[far], strict=True)
    return tuple(found)


def _visible(truth, marked: Marked):
    """Columns whose envelope at the true back face stands out of its surroundings by 6 dB, and those found.

    The surroundings are the median of the envelope up to 0.8 ns before and after; where the echo is due, by
    the true permittivity and the line's adopted zero.
    """
    model, stage = marked.results.lines[marked.line_id].model, marked.stage
    scan = stage.scan
    if not math.isfinite(truth.permittivity):
        return 0, 0
    way = travel_time(
        truth.thickness(scan.positions_mm), truth.permittivity, model.separation_mm, model.height_mm
    ).time_ns
    due = np.round((way + model.zero_ns) / scan.dt_ns).astype(int)
    envelopes = stage.envelope(0, scan.traces)
    near, around = round(0.3 * stage.period_ns / scan.dt_ns), round(SURROUNDINGS_NS / scan.dt_ns)
    tracked = {
        float(position)
        for face in marked.line.marks
        if isinstance(face, FaceMark)
        for position in marked.tracks[face.id].position_mm
    }
    visible = found = 0
    for trace in column_traces(stage).tolist():
        sample = int(due[trace])
        low, high = max(0, sample - around), min(scan.samples, sample + around)
        echo = envelopes[trace, max(0, sample - near) : sample + near + 1]
        if not len(echo) or sample >= scan.samples:
            continue
        level = 20 * math.log10(
            max(echo.max(), 1e-30) / max(np.median(envelopes[trace, low:high]), 1e-30)
        )
        if level >= STANDS_OUT_DB:
            visible += 1
            found += float(scan.positions_mm[trace]) in tracked
    return visible, found
