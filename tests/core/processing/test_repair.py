"""Dead traces and spikes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from depthwright.processing.repair import LONGEST_RUN, REACH, SPIKE_SHARE, repair

DT_NS = 0.02
TRACES, SAMPLES = 80, 256


def ricker(samples_away: np.ndarray, samples_per_period: float) -> np.ndarray:
    phase = (np.pi * samples_away / samples_per_period) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def drawn_line(samples_per_period: float = 25.0, noise: float = 0.01) -> np.ndarray:
    """A direct wave, a back face and two hyperbolas, the one with steep limbs of several samples a trace."""
    trace, at = np.arange(TRACES)[:, None], np.arange(SAMPLES)[None, :]
    line = ricker(at - 30.3, samples_per_period) + 0.3 * ricker(at - 200.6, samples_per_period)
    for apex, top, steepness in ((25, 70.0, 1.0), (60, 90.0, 5.0)):
        late = np.hypot(top, steepness * (trace - apex))
        line = line - 0.5 * ricker(at - late, samples_per_period)
    line = line + noise * np.random.default_rng(3).standard_normal(line.shape)
    return line.astype(np.float32)


def swing(line: np.ndarray) -> float:
    return float(np.median(np.ptp(line, axis=1)))


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05])
@pytest.mark.parametrize("samples_per_period", [5.0, 6.3, 8.0, 12.0, 25.0, 60.0])
def test_pulses_and_noise_are_never_touched(samples_per_period, noise):
    line = drawn_line(samples_per_period, noise)
    repaired, what = repair(line, swing(line))
    assert np.array_equal(repaired, line)
    assert not what.traces.any()
    assert not what.spikes.any()


@pytest.mark.parametrize("quarter_turns", [0, 1, 2, 3])
@pytest.mark.parametrize("samples_per_period", [5.0, 7.0, 10.0])
def test_a_pulse_on_one_trace_alone_is_not_a_spike_wherever_it_falls(
    samples_per_period, quarter_turns
):
    """Pulses of any phase, in the middle and cut off by the trace's ends."""
    fine = ricker((np.arange(-2048, 2048) + 0.5) / 16, samples_per_period)
    turned = np.fft.irfft(np.fft.rfft(fine) * np.exp(0.5j * np.pi * quarter_turns))
    for centre in np.concatenate([np.arange(0, 3, 0.2), np.arange(20, 21, 0.1)]):
        line = np.zeros((7, 41))
        line[3] = np.interp(16 * (np.arange(41) - centre), np.arange(-2048, 2048), turned)
        single = line.astype(np.float32)
        assert np.array_equal(repair(single, swing(single[3:4]))[0], single)


@pytest.mark.parametrize("height", [-3.0, 0.5, 2.0, 40.0])
@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize("sample", [0, 1, 100, 170, SAMPLES - 2])
def test_spikes_are_replaced_from_their_neighbours(sample, width, height):
    clean = drawn_line()
    line = clean.copy()
    line[40, sample : sample + width] += height
    repaired, what = repair(line, swing(line))
    assert what.spikes.tolist() == [width if trace == 40 else 0 for trace in range(TRACES)]
    assert_allclose(repaired, clean, rtol=0, atol=0.12)
    assert np.array_equal(np.delete(repaired, 40, axis=0), np.delete(clean, 40, axis=0))


@pytest.mark.parametrize("trace", [0, 1, 2, TRACES - 1])
def test_a_spike_near_the_lines_end_is_found_on_its_own_trace(trace):
    line = drawn_line()
    line[trace, 150] += 5.0
    assert np.flatnonzero(repair(line, swing(line))[1].spikes).tolist() == [trace]


def test_a_spike_on_the_level_direct_wave_is_found():
    line = drawn_line()
    line[40, 30] += 2.0
    assert repair(line, swing(line))[1].spikes.sum() == 1


def test_what_stands_off_by_little_is_left():
    line = drawn_line(noise=0.0)
    line[40, 170] += 0.5 * SPIKE_SHARE * swing(line)
    assert not repair(line, swing(line))[1].spikes.any()


@pytest.mark.parametrize("run", range(1, LONGEST_RUN + 1))
@pytest.mark.parametrize("level", [0.0, 300.0])
def test_short_runs_of_dead_traces_are_filled(run, level):
    clean = drawn_line()
    line = clean.copy()
    line[40 : 40 + run] = level
    repaired, what = repair(line, swing(line))
    assert np.flatnonzero(what.traces).tolist() == list(range(40, 40 + run))
    share = np.arange(1, run + 1)[:, None] / (run + 1)
    between = (1 - share) * clean[39] + share * clean[40 + run]
    assert_allclose(repaired[40 : 40 + run], between, rtol=0, atol=1e-6)


def test_a_gap_stays_a_gap_and_the_lines_end_is_not_made_up():
    line = drawn_line()
    line[30 : 30 + LONGEST_RUN + 1] = 0.0
    line[:2] = line[-1:] = 0.0
    repaired, what = repair(line, swing(line))
    assert np.array_equal(repaired, line)
    assert not what.traces.any()


def test_the_block_given_is_left_alone():
    line = drawn_line()
    line[40], line[50, 150] = 0.0, 9.0
    before = line.copy()
    repair(line, swing(line))
    assert np.array_equal(line, before)


@pytest.mark.parametrize("traces", [1, 2, 3])
def test_blocks_of_few_traces_and_dead_lines_come_back(traces):
    dead = np.zeros((traces, 30), np.float32)
    assert np.array_equal(repair(dead, 0.0)[0], dead)
    assert repair(drawn_line()[:traces], 1.0)[0].shape == (traces, SAMPLES)


@settings(max_examples=25, derandomize=True, deadline=None)
@given(st.data())
def test_a_stretch_with_its_reach_gives_the_same_as_the_whole(data):
    line = drawn_line()
    for trace in data.draw(st.lists(st.integers(0, TRACES - 1), max_size=25)):
        line[trace] = 0.0
    places = st.tuples(st.integers(0, TRACES - 1), st.integers(0, SAMPLES - 1))
    for trace, sample in data.draw(st.lists(places, max_size=25)):
        line[trace, sample] += data.draw(st.sampled_from([-4.0, 0.7, 3.0]))
    first = data.draw(st.integers(0, TRACES - 2))
    last = data.draw(st.integers(first + 1, TRACES))
    low, high = max(0, first - REACH), min(TRACES, last + REACH)
    whole, what = repair(line, swing(line))
    stretch, there = repair(line[low:high], swing(line))
    inside = slice(first - low, last - low)
    assert np.array_equal(stretch[inside], whole[first:last])
    assert np.array_equal(there.spikes[inside], what.spikes[first:last])
    assert np.array_equal(there.traces[inside], what.traces[first:last])


def test_each_trace_with_its_reach_alone_gives_the_same_as_the_whole():
    """Runs as long as may be and one longer, spikes on the traces beside them and on those further off."""
    line = drawn_line()
    for first, run in ((5, LONGEST_RUN), (20, LONGEST_RUN + 1), (40, LONGEST_RUN), (60, 1)):
        line[first : first + run] = 0.0
        line[first + run, 150] += 2.0
        line[first + run + 2, 150] -= 3.0
        line[first - 1, 110] += 2.0
        line[first - 3, 110] -= 3.0
    whole, what = repair(line, swing(line))
    assert what.traces.sum() == 2 * LONGEST_RUN + 1
    for trace in range(TRACES):
        low = max(0, trace - REACH)
        alone, there = repair(line[low : trace + REACH + 1], swing(line))
        assert np.array_equal(alone[trace - low], whole[trace])
        assert there.spikes[trace - low] == what.spikes[trace]
        assert there.traces[trace - low] == what.traces[trace]
