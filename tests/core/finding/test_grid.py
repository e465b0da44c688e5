"""The grid that lines are searched on: what is read from traces can be written back to them."""

import numpy as np

from depthwright.finding.grid import grid_of, signal_of, waves_of
from depthwright.finding.stretch import found_in, known_of
from depthwright.measuring.stage import kept


def test_waves_written_back_are_the_traces_they_were_read_from(survey, bar_at):
    line = survey([bar_at(x, 50.0) for x in (150.0, 320.0)], length_mm=500.0, noise=0.0)
    scan, grid = line.stage.scan, grid_of(line.stage)
    signal = line.stage.waves(0, scan.traces)
    back = signal_of(waves_of(signal, scan.positions_mm, grid), grid, scan.samples)
    assert back.shape == signal.shape
    assert np.linalg.norm(back - signal) < 0.05 * np.linalg.norm(signal)


def test_a_stretch_with_all_others_taken_away_holds_one_hyperbola(survey, bar_at):
    """Two bars 90 mm apart: freed from the other, each is what it is alone, on both flanks."""
    line = survey([bar_at(x, 50.0) for x in (205.0, 295.0)], length_mm=500.0, noise=0.0)
    alone = survey([bar_at(205.0, 50.0)], length_mm=500.0, noise=0.0)
    stage = kept(line.stage, 0, line.stage.scan.traces)
    stretch = found_in(known_of(line.job, line.line, stage, 64), stage)
    index = int(np.argmin([abs(one.along_mm - 205.0) for one in stretch.found]))
    freed = stretch.alone(index, 9, 74)
    assert (freed.first, freed.last) == (9, 74)
    truth = alone.stage.waves(9, 74)
    crowded = line.stage.waves(9, 74)
    off = [np.linalg.norm(each - truth) / np.linalg.norm(truth) for each in (freed.signal, crowded)]
    assert off[0] < 0.3 < 0.8 < off[1]


def test_traces_midway_between_columns_are_freed_up_to_the_end_of_the_line(survey, bar_at):
    """To which column they go, rounding decides: as seen from where the stretch begins."""
    places = -0.7 + 2.5 * np.arange(400)
    both, one = (
        survey([bar_at(x, 40.0) for x in bars], places_mm=places, noise=0.0)
        for bars in ((850.0, 940.0), (940.0,))
    )
    stretch = found_in(known_of(both.job, both.line, both.stage, 64), kept(both.stage, 198, 400))
    index = int(np.argmin([abs(found.along_mm - 940.7) for found in stretch.found]))
    freed, truth = stretch.alone(index, 320, 400).signal, one.stage.waves(320, 400)
    assert np.linalg.norm(freed - truth) < 0.3 * np.linalg.norm(truth)


def test_a_dead_trace_beside_a_living_one_stays_dead(survey, bar_at):
    """Both are in one column, and only one holds the echoes that are taken away."""
    dead = 61
    line = survey(
        [bar_at(x, 50.0) for x in (120.0, 200.0)],
        places_mm=2.5 * np.arange(140),
        dead=[dead],
        noise=0.0,
    )
    stage = kept(line.stage, 0, line.stage.scan.traces)
    stretch = found_in(known_of(line.job, line.line, stage, 64), stage)
    beside = np.abs(stretch.alone(0, 20, 110).signal[[dead - 1 - 20, dead - 20, dead + 1 - 20]])
    assert beside.max(axis=1)[1] < 1e-3 * beside.max()
