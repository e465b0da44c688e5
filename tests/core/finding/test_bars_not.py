"""What is no bar is not proposed as one, or with what speaks against it."""

import numpy as np
import pytest

from depthwright.finding.proposal import SHOWN_SCORE
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array


def test_noise_alone_holds_no_bars(survey):
    for seed in range(3):
        assert survey(noise=0.02, seed=seed, length_mm=300.0).proposals() == []


def test_layers_are_no_bars(survey):
    """A back face, and bars along the line, which look like layers."""
    for depth in (40.0, 90.0, 160.0):
        assert survey(layers=((depth, -0.5),), length_mm=300.0).proposals(SHOWN_SCORE) == []


def test_a_ringing_plate_is_no_bar(survey):
    plate = tuple((30.0 * bounce, -1.5 * (-0.7) ** bounce) for bounce in range(1, 6))
    assert survey(layers=plate, length_mm=500.0).proposals(SHOWN_SCORE) == []


def test_a_sloping_layer_is_no_bar(survey):
    line = survey(length_mm=500.0)
    samples = line.stage.scan.block(0, line.stage.scan.traces).copy()
    time = np.arange(samples.shape[1]) * line.stage.scan.dt_ns
    arrival = 3.0 + 0.002 * line.stage.scan.positions_mm
    phase = (2 * np.pi * (time - arrival[:, None])) ** 2
    samples += (0.4 * (1 - 2 * phase) * np.exp(-phase)).astype(np.float32)
    scan = scan_from_array(samples, line.stage.scan.dt_ns, 5.0, separation_mm=40.0)
    job, line_id = take_in(Job(), scan)
    own = job.line(line_id)
    tilted = type(line)(job, own, pick_stage(job, own, scan))
    assert tilted.proposals(SHOWN_SCORE) == []


def test_the_other_polarity_is_told(survey, bar_at):
    """A hyperbola of the other sign among bars is listed with its reason, and not shown."""
    bars = [bar_at(x, 45.0) for x in (100.0, 260.0, 560.0, 700.0)]
    line = survey([*bars, bar_at(410.0, 60.0, -0.8)])
    shown = [bar.pick.position_mm for bar in line.proposals(SHOWN_SCORE)]
    assert shown == pytest.approx([100.0, 260.0, 560.0, 700.0], abs=3.0)
    other = [bar for bar in line.proposals() if abs(bar.pick.position_mm - 410.0) < 15]
    assert [bar.reason for bar in other] == ["polarity opposite to the other bars'"]


def test_the_tail_of_a_bar_beyond_the_end_is_no_bar(survey, bar_at):
    bars = [bar_at(x, 40.0) for x in (-60.0, 150.0, 350.0, 560.0)]
    line = survey(bars, length_mm=500.0)
    shown = [bar.pick.position_mm for bar in line.proposals(SHOWN_SCORE)]
    assert shown == pytest.approx([150.0, 350.0], abs=3.0)


def test_a_second_bounce_is_no_bar(survey, bar_at):
    """Twice the time, the bend of the first echo, and the polarity of two reflections by metal and one by
    air from inside."""
    bars = [bar_at(x, 35.0) for x in (100.0, 300.0, 500.0, 700.0)]
    line = survey(bars)
    samples = line.stage.scan.block(0, line.stage.scan.traces).copy()
    late = round(2 * 35.0 * np.sqrt(7.5) / 299.79 / line.stage.scan.dt_ns)
    alone = samples - survey().stage.scan.block(0, line.stage.scan.traces)
    samples[:, late:] += -0.25 * alone[:, :-late]
    scan = scan_from_array(samples, line.stage.scan.dt_ns, 5.0, separation_mm=40.0)
    job, line_id = take_in(Job(), scan)
    own = job.line(line_id)
    twice = type(line)(job, own, pick_stage(job, own, scan))
    shown = [bar.pick.position_mm for bar in twice.proposals(SHOWN_SCORE)]
    assert shown == pytest.approx([100.0, 300.0, 500.0, 700.0], abs=3.0)


@pytest.mark.parametrize("traces", [1, 2, 7, 9])
def test_a_few_traces_are_no_line_to_search(survey, traces):
    line = survey(length_mm=5.0 * (traces - 1) if traces > 1 else 5.0)
    scan = line.stage.scan
    few = scan_from_array(scan.block(0, min(traces, scan.traces)), scan.dt_ns, 5.0)
    job, line_id = take_in(Job(), few)
    own = job.line(line_id)
    assert type(line)(job, own, pick_stage(job, own, few)).proposals() == []
