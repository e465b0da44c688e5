"""Bars by themselves: places where the echoes look like a bar's hyperbola."""

import numpy as np
import scipy.ndimage

from depthwright.finding.proposal import SAME_MM, BarProposal
from depthwright.job import Job, Line
from depthwright.measuring.picking import STANDS_OUT, snap_bar, with_crest
from depthwright.measuring.stage import PickStage
from depthwright.scan import Report, no_report


def propose_bars(
    job: Job, line: Line, stage: PickStage, report: Report = no_report
) -> tuple[BarProposal, ...]:
    """Bars that the line's echoes speak for, in the order of their positions.

    Parameters
    ----------
    job, line
        The line and its job; what is known of the antenna, not its marks.
    stage
        The line as it is picked on.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    scan = stage.scan
    envelopes = stage.envelope(0, scan.traces)
    peaks = scipy.ndimage.maximum_filter(envelopes, size=(9, 9)) == envelopes
    peaks &= envelopes > 2 * STANDS_OUT * stage.noise
    found: list[BarProposal] = []
    for trace, sample in np.argwhere(peaks).tolist():
        pick = snap_bar(stage, float(scan.positions_mm[trace]), sample * scan.dt_ns)
        if pick is None or not pick.placed_by_crest:
            continue
        if any(abs(pick.position_mm - bar.pick.position_mm) < SAME_MM for bar in found):
            continue
        found.append(BarProposal(with_crest(stage, pick), 0.6, "curved echo"))
    report(1.0)
    return tuple(sorted(found, key=lambda bar: bar.pick.position_mm))
