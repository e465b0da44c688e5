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
    freed = stretch.alone(index, 160.0)
    last = freed.first + len(freed.signal)
    assert freed.first * 5.0 <= 50.0
    truth = alone.stage.waves(freed.first, last)
    crowded = line.stage.waves(freed.first, last)
    off = [np.linalg.norm(each - truth) / np.linalg.norm(truth) for each in (freed.signal, crowded)]
    assert off[0] < 0.3 < 0.8 < off[1]
