"""The marked-up image of one line: a page for the engineer and the coring crew."""

from datetime import datetime

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from depthwright.exports import band, columns, palette, sheet
from depthwright.exports.band import Label
from depthwright.exports.lettering import Type, shorten, width_mm, wrap
from depthwright.exports.marks import Marks
from depthwright.exports.page import HEIGHT_MM, WIDTH_MM, Page
from depthwright.exports.section import (
    Extent,
    ImageStyle,
    distance_ticks,
    draw_axes,
    draw_samples,
    extent_of,
    number,
)
from depthwright.exports.strip import draw_strip
from depthwright.exports.wording import day_and_time, program
from depthwright.job import Job, Line, Tie
from depthwright.results.tracking import pick_stage, recipe_setting
from depthwright.results.values import LineRows, Results
from depthwright.results.words import line_title
from depthwright.scan import Scan
from depthwright.units import format_interval, from_mm

__all__ = ["ImageStyle", "line_figure"]

MARGIN_MM = 10.0
LEFT_MM, RIGHT_MM = MARGIN_MM + 14.0, WIDTH_MM - MARGIN_MM - 14.0
"""The section's edges; its axes stand between them and the margins."""
STRIP_MM = 20.0
_AXIS_MM = 9.0
_COLUMNS_MM = (130.0, 76.0, 60.0)
_MOST_SHEET_MM = 62.0
_LEAST_SECTION_MM = 36.0
_FOR_EVIDENCE_MM = 6.0
"""The section stays so much higher than its least when it is for evidence, not for the bar schedule."""
_GAPS_MM = 6.0
_MOST_WARNING_LINES = 4

TITLE = Type(palette.TITLE_PT, bold=True)
SUBTITLE = Type(8.5)
AXIS = Type(palette.BODY_PT)
NOTE = Type(palette.BODY_PT, italic=True)


def line_figure(
    job: Job,
    line_id: str,
    scan: Scan,
    results: Results,
    when: datetime,
    style: ImageStyle | None = None,
) -> Figure:
    """One line, marked up, with all that its numbers rest on, on a landscape A4 page.

    Parameters
    ----------
    job, line_id
        Which line.
    scan
        The line's scan.
    results
        The job's results.
    when
        The time now, printed on the page.
    style
        Colours and contrast of the samples.
    """
    page = Page()
    line, rows = job.line(line_id), results.lines[line_id]
    extent = extent_of(job, line, scan)
    labels = band.arrange(_labels(job, rows, extent, results.provisional), LEFT_MM, RIGHT_MM)
    cautions = sheet.caution_lines(WIDTH_MM - 2 * MARGIN_MM)
    caution_top = HEIGHT_MM - 8.0 - len(cautions) * sheet.CAUTION.line_mm
    section_top = _header(page, job, line, results, when) + labels.height_mm
    strip_mm = STRIP_MM if rows.bars else 0.0
    around_mm = _AXIS_MM + strip_mm + _GAPS_MM
    most_mm = caution_top - section_top - around_mm - _LEAST_SECTION_MM
    sheet_top = _sheet(page, job, line, results, labels.step, caution_top - _GAPS_MM / 2, most_mm)
    section_mm = sheet_top + _GAPS_MM / 2 - around_mm - section_top

    axes = page.axes(LEFT_MM, section_top, RIGHT_MM - LEFT_MM, section_mm)
    on_direct = line.recipe.align or line.recipe.remove_direct
    direct = pick_stage(job, line, scan).direct if on_direct else None
    setting = recipe_setting(job, line, rows.model, scan, direct)
    draw_samples(axes, line, scan, extent, setting, style or ImageStyle())
    draw_axes(axes, extent, rows.model, job.unit, results.provisional)
    labelled = frozenset(label.mark_id for label in labels.labels)
    Marks(axes, extent, rows.model, job.unit, results.provisional, labelled).draw(line, rows)
    axes.set_xlim(extent.left_mm, extent.right_mm)
    axes.set_ylim(extent.bottom_ns, extent.top_ns)
    band.draw(page, labels, section_top - labels.height_mm)
    lowest = axes
    if rows.bars:
        lowest = page.axes(
            LEFT_MM, section_top + section_mm + 1.0, RIGHT_MM - LEFT_MM, strip_mm - 1
        )
        draw_strip(lowest, job, rows.bars, extent, results.provisional)
    _distance_axis(lowest, job, line, extent)
    _cautions(page, cautions, caution_top)
    return page.figure


def _labels(job: Job, rows: LineRows, extent: Extent, provisional: bool) -> list[Label]:
    """Labels of the bars in the picture, and of the known depths on the back face."""

    def across(position_mm: float) -> float:
        share = (position_mm - extent.left_mm) / (extent.right_mm - extent.left_mm)
        return LEFT_MM + share * (RIGHT_MM - LEFT_MM)

    def inside(position_mm: float) -> bool:
        return extent.left_mm <= position_mm <= extent.right_mm

    def tie(known: Tie) -> str:
        places = {"mm": 1, "cm": 2, "in": 2}[job.unit]
        return f"tie {round(from_mm(known.depth_mm, job.unit), places):g}"

    labels = [
        Label(
            mark_id=bar.mark_id,
            at_mm=across(bar.position.value_mm),
            number=str(bar.number),
            value=format_interval(
                bar.cover.value_mm, bar.cover.expanded_mm, job.unit, figures=1, with_unit=False
            ),
            pill=tie(bar.tie) if bar.tie else "",
            provisional=provisional,
        )
        for bar in rows.bars
        if inside(bar.position.value_mm)
    ]
    labels += [
        Label(face.mark_id, across(anchor.position.value_mm), "", "", tie(anchor.tie))
        for face in rows.faces
        for anchor in face.anchors
        if anchor.tie is not None and inside(anchor.position.value_mm)
    ]  # fmt: skip
    return labels


def _header(page: Page, job: Job, line: Line, results: Results, when: datetime) -> float:
    """Job, line, note, date and warnings; gives where the next thing may start, mm."""
    stamp = f"{day_and_time(when)} · {program()}"
    right = WIDTH_MM - MARGIN_MM
    room = right - MARGIN_MM
    page.text(right, 14.0, stamp, columns.BODY, align="right", colour=palette.QUIET)
    stamp_mm = width_mm(stamp, columns.BODY) + 6.0
    page.text(MARGIN_MM, 14.0, shorten(job.name, TITLE, room - stamp_mm), TITLE)
    page.text(MARGIN_MM, 19.0, shorten(line_title(job, line.id), SUBTITLE, room), SUBTITLE)
    down = 19.0
    for text in wrap(job.note, NOTE, room, most=2):
        down += NOTE.line_mm + 0.4
        page.text(MARGIN_MM, down, text, NOTE)
    return _warnings(page, results, down) + 3.5


def _warnings(page: Page, results: Results, down: float) -> float:
    """What puts every number in doubt, between rules above the picture; gives their lower end, mm."""
    room, kind = WIDTH_MM - 2 * MARGIN_MM, sheet.CAUTION
    lines = [text for said in results.warnings for text in wrap(f"⚠ Warning: {said}", kind, room)]
    if not lines:
        return down
    if len(lines) > _MOST_WARNING_LINES:
        lines = [
            *lines[: _MOST_WARNING_LINES - 1],
            "… the warnings go on in the tables and the job.",
        ]
    ends = (MARGIN_MM, WIDTH_MM - MARGIN_MM)
    down += 2.6
    page.line(ends, (down, down), palette.TEXT)
    for text in lines:
        down += kind.line_mm
        page.text(MARGIN_MM, down, text, kind)
    down += 1.6
    page.line(ends, (down, down), palette.TEXT)
    return down


def _sheet(
    page: Page, job: Job, line: Line, results: Results, step: int, bottom: float, most_mm: float
) -> float:
    """Schedule, depth model and survey side by side, standing on ``bottom``; gives their top, mm."""
    rows = results.lines[line.id]
    first, _, third = _COLUMNS_MM
    table = sheet.schedule(job, line, rows, results.provisional, first, step, most_mm)
    limit_mm = max(table.height_mm, min(_MOST_SHEET_MM, most_mm - _FOR_EVIDENCE_MM))
    said = columns.said_of(job, line, results)
    beneath, model, survey = columns.columns(said, _COLUMNS_MM, table.height_mm, limit_mm)
    top = bottom - max(column.height_mm for column in (beneath, model, survey))
    sheet.draw_schedule(page, table, MARGIN_MM, top, first)
    beneath.draw(page, MARGIN_MM, top)
    model.draw(page, MARGIN_MM + first + columns.GAP_MM, top)
    survey.draw(page, WIDTH_MM - MARGIN_MM - third, top)
    return top


def _distance_axis(axes: Axes, job: Job, line: Line, extent: Extent) -> None:
    ticks = distance_ticks(extent, job.unit)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.set_xticklabels([number(tick, job.unit) for tick in ticks])
    for tick in axes.get_xticklabels():
        tick.set_fontproperties(columns.BODY.font)
    label = f"Distance from {line.datum}, {line.course}, {job.unit}"
    axes.set_xlabel(
        shorten(label, AXIS, RIGHT_MM - LEFT_MM), fontproperties=AXIS.font, color=palette.TEXT,
        labelpad=2, parse_math=False,
    )  # fmt: skip


def _cautions(page: Page, lines: list[str], top: float) -> None:
    page.line((MARGIN_MM, WIDTH_MM - MARGIN_MM), (top, top))
    for index, text in enumerate(lines, start=1):
        page.text(MARGIN_MM, top + index * sheet.CAUTION.line_mm, text, sheet.CAUTION)
