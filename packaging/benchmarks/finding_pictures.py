"""A line with what was found on it and what is there, as a picture to look at."""

import numpy as np
from judged import marked_alone
from matplotlib.figure import Figure

from depthwright.errors import DepthwrightError


def picture_of(truth, path):
    """Envelope, found bars and back face (solid), true ones (dashed), drawn to ``path``."""
    try:
        marked = marked_alone(truth)
    except DepthwrightError:
        return
    stage, rows = marked.stage, marked.results.lines[marked.line_id]
    scan = stage.scan
    levels = 20 * np.log10(stage.envelope(0, scan.traces).T / stage.direct_peak + 1e-6)
    figure = Figure(figsize=(12, 6), layout="constrained")
    axes = figure.add_subplot()
    low, high = scan.edges_mm
    axes.imshow(
        levels, aspect="auto", cmap="gray", vmin=-40, vmax=0,
        extent=(low, high, scan.time_window_ns, 0.0),
    )  # fmt: skip
    model, marks = rows.model, marked.line.marks
    for position, cover, _ in truth.bars:
        axes.plot(
            position, model.file_ns(np.array([cover]))[0], "o", mfc="none", mec="tab:cyan", ms=11
        )
    for mark in marks:
        if mark.kind == "bar":
            score = marked.scores.get(mark.id, 0.0)
            axes.plot(mark.position_mm, mark.time_ns, "x", color="tab:orange")
            axes.annotate(
                f"{score:.2f}", (mark.position_mm, mark.time_ns), color="tab:orange", fontsize=7
            )
    along = scan.positions_mm
    due = model.file_ns(truth.thickness(along))
    axes.plot(along, due, "--", color="tab:cyan", lw=1)
    for track in marked.tracks.values():
        axes.plot(track.position_mm, track.time_ns, ".", color="tab:orange", ms=3)
    axes.set(title=truth.name, xlabel="position, mm", ylabel="recorded time, ns")
    figure.savefig(path, dpi=90)
