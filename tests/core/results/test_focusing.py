"""Focusing: the permittivity that makes migrated bars sharpest.

The line is drawn from the program's own model of travel time, so that these tests check the stack and its
maximum, not the physics. The drawn pulse keeps its phase along the hyperbola, which a computed wave does not:
what :data:`PHASE_SHIFT` takes out of a real line, it adds here.
"""

import math

import numpy as np
import pytest

from depthwright import edits, wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth import priors
from depthwright.depth.leg_delay import leg_delay_ns
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.measuring.picking import Pick
from depthwright.results.focusing import MOST_BARS, PHASE_SHIFT, focus_of, sharpness_of
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array

SEPARATION_MM, HEIGHT_MM, RADIUS_MM = 40.0, 3.0, 6.0
FREQUENCY_GHZ, DT_NS, DIRECT_NS = 2.0, 0.02, 1.0


def ricker(time_ns):
    phase = (np.pi * FREQUENCY_GHZ * time_ns) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def echo_ns(offset_mm, cover_mm, permittivity, pulse_ghz):
    """Two-way time over a bar by the curvature's model, ns: as it moves out, from its time at the apex."""
    at = np.append(offset_mm, 0.0)
    path = wave.bar_time(at, cover_mm, RADIUS_MM, permittivity, SEPARATION_MM)
    delay = leg_delay_ns(path.leg_mm, path.leg_angle_rad, HEIGHT_MM, permittivity, pulse_ghz)
    time = path.time_ns + delay.sum(axis=0)
    apex = float(wave.travel_time(cover_mm, permittivity, SEPARATION_MM, HEIGHT_MM).time_ns)
    return apex + time[:-1] - time[-1]


def drawn(permittivity=8.0, covers=(60.0, 75.0, 65.0), pitch_mm=300.0, dead=()):
    """A job with its bars marked at the true apexes, its line, and the line's pick stage."""
    random = np.random.default_rng(11)
    x = np.arange(0.0, pitch_mm * len(covers) + 1, 5.0)
    time = np.arange(400) * DT_NS
    samples = np.tile(ricker(time - DIRECT_NS), (len(x), 1))
    zero = DIRECT_NS - SEPARATION_MM / C_MM_PER_NS
    pulse = FREQUENCY_GHZ * priors.PULSE_PER_LINE_FREQUENCY
    places = pitch_mm * (np.arange(len(covers)) + 0.5)
    for place, cover in zip(places, covers, strict=True):
        late = zero + echo_ns(x - place, cover, permittivity, pulse) - priors.BARS_EARLY_NS
        fall = cover / np.hypot(cover, x - place)
        samples -= 0.5 * fall[:, None] * ricker(time - late[:, None])
    samples += 0.005 * random.standard_normal(samples.shape)
    samples[list(dead)] = 0.0
    scan = scan_from_array(samples, DT_NS, 5.0, 0.0, SEPARATION_MM, FREQUENCY_GHZ)
    job, line_id = take_in(Job(), scan)
    job = edits.change_antenna(
        job,
        job.antennas[0].id,
        centre_frequency_ghz=FREQUENCY_GHZ,
        height_mm=HEIGHT_MM,
        direct_shift="measured",
        time_offset_ns=0.0,
    )
    for place, cover in zip(places, covers, strict=True):
        apex = zero + echo_ns(np.zeros(1), cover, permittivity, pulse)[0] - priors.BARS_EARLY_NS
        job, _ = edits.add_bar(job, line_id, Pick(float(place), 1.0, float(apex)))
    line = job.line(line_id)
    return job, line, pick_stage(job, line, scan)


def off(focus, permittivity):
    """Ln of a focus against the truth of a drawing, whose phase does not turn."""
    return math.log(focus.permittivity / permittivity) + PHASE_SHIFT


@pytest.mark.parametrize("permittivity", [4.5, 5.5, 8.0, 11.0])
def test_bars_focus_at_the_permittivity_they_were_drawn_with(permittivity):
    focus = focus_of(*drawn(permittivity))
    assert focus is not None
    assert focus.bars == 3
    # The drawing has no phase shift by the surface: what is allowed for it is all that parts the two.
    assert math.log(focus.permittivity / permittivity) == pytest.approx(-PHASE_SHIFT, abs=0.03)


def test_another_permittivity_defocuses():
    job, line, stage = drawn(8.0)
    for bar in line.marks:
        low, true, high = sharpness_of(job, line, stage, bar, np.array([6.0, 8.0, 10.5]))
        assert true > 0.9
        assert max(low, high) < true - 0.05


def test_the_interval_is_never_narrower_than_what_all_hyperbolas_share():
    assert focus_of(*drawn(8.0)).log_u > priors.MOVEOUT_U


def test_dead_traces_are_left_out():
    job, line, stage = drawn(8.0, dead=(24, 25, 37, 90, 152))
    focus = focus_of(job, line, stage)
    assert math.log(focus.permittivity / 8.0) == pytest.approx(-PHASE_SHIFT, abs=0.03)
    assert sharpness_of(job, line, stage, line.marks[0], np.array([8.0]))[0] > 0.9


def test_many_bars_are_thinned_and_progress_is_told():
    told = []
    focus = focus_of(*drawn(8.0, covers=(60.0,) * (MOST_BARS + 5)), told.append)
    assert focus.bars == MOST_BARS
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_bars_whose_hyperbolas_cross_are_not_focused():
    job, line, stage = drawn(8.0, covers=(60.0, 60.0, 60.0), pitch_mm=60.0)
    assert focus_of(job, line, stage) is None
    assert sharpness_of(job, line, stage, line.marks[1], np.array([8.0])) is None


def test_a_bar_in_the_direct_wave_is_not_focused():
    assert focus_of(*drawn(8.0, covers=(12.0,))) is None


def test_without_bars_there_is_no_focus():
    job, line, stage = drawn(8.0)
    for bar in line.marks:
        job = edits.delete_mark(job, line.id, bar.id)
    assert focus_of(job, job.line(line.id), stage) is None


def test_cancelling_stops_it():
    class CancelledError(Exception):
        pass

    def cancel(fraction):
        raise CancelledError

    with pytest.raises(CancelledError):
        focus_of(*drawn(8.0), cancel)
