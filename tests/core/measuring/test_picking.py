"""Clicks become picks: the direct wave, apexes, the back face."""

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.measuring.backface import track_face
from depthwright.measuring.picking import place_by_hand, snap_bar, snap_face
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import centre_frequency_ghz, find_direct_wave, fit_direct_wave
from depthwright.processing.filters import keep_band
from depthwright.scan import scan_from_array


def test_the_direct_wave_is_found_to_2_ps(plain_line):
    direct = find_direct_wave(plain_line.scan, 2.0)
    assert direct.time_ns == pytest.approx(1.0, abs=0.002)


def test_the_centre_frequency_is_found_from_the_spectrum(plain_line):
    assert centre_frequency_ghz(plain_line.scan) == pytest.approx(2.0, abs=0.3)


def test_jitter_of_the_traces_is_measured(draw_line):
    still, jittered = draw_line(), draw_line(jitter_ns=0.02)
    late = 0.02 * np.random.default_rng(5).uniform(-1, 1, jittered.scan.traces)
    direct = find_direct_wave(jittered.scan, 2.0)
    block = keep_band(jittered.scan.block(0, jittered.scan.traces), jittered.scan.dt_ns, 2.0)
    delay = fit_direct_wave(block, direct, jittered.scan.dt_ns).delay_ns
    # Delays are relative to the shape learnt from the quiet traces, hence the common mean.
    left = delay - late
    assert np.std(left - left.mean()) < 0.003
    assert np.std(late) > 0.01
    quiet = keep_band(still.scan.block(0, 5), still.scan.dt_ns, 2.0)
    assert np.abs(fit_direct_wave(quiet, direct, 0.02).delay_ns).max() < 0.02


@pytest.mark.parametrize("bar", [0, 1, 2])
@pytest.mark.parametrize(("off_mm", "off_ns"), [(0, 0), (20, 0.1), (-20, -0.1), (12, -0.15)])
def test_a_click_near_an_apex_snaps_to_it(plain_line, plain_stage, bar, off_mm, off_ns):
    position, cover = plain_line.bars[bar]
    pick = snap_bar(plain_stage, position + off_mm, plain_line.echo_ns(cover) + off_ns)
    assert pick is not None
    assert pick.position_mm == pytest.approx(position, abs=1.0)
    assert pick.time_ns == pytest.approx(plain_line.echo_ns(cover), abs=0.006)
    assert 0 < pick.position_u_mm < 5


@pytest.mark.parametrize("apex_mm", [351.2, 352.5, 353.9])
def test_an_apex_between_two_traces_is_placed_there(draw_line, stage_of, apex_mm):
    drawn = draw_line(bars=((apex_mm, 50.0),))
    pick = snap_bar(stage_of(drawn), 362.0, drawn.echo_ns(50.0) + 0.05)
    assert pick is not None
    assert pick.position_mm == pytest.approx(apex_mm, abs=1.0)
    assert abs(pick.position_mm - apex_mm) < 2 * pick.position_u_mm
    assert pick.time_ns == pytest.approx(drawn.echo_ns(50.0), abs=0.007)


def test_an_echo_that_sags_has_no_apex_and_a_wide_position(draw_line, stage_of):
    """Latest in the middle, as between two bars: its vertex would be the wrong one."""
    drawn = draw_line(bars=(), noise=0.0)
    samples = drawn.scan.block(0, drawn.scan.traces).copy()
    for trace, position in enumerate(drawn.scan.positions_mm):
        rise = round(10 * min(1.0, ((position - 347.0) / 60.0) ** 2))
        samples[trace, 150:] = np.roll(samples[trace, 150:], -rise)
    bent = type(drawn)(scan_from_array(samples, 0.02), (), 160.0)
    pick = snap_bar(stage_of(bent), 347.0, drawn.echo_ns(160.0))
    assert pick is not None
    assert pick.position_u_mm > 10.0


def test_noise_alone_is_no_echo(draw_line, stage_of):
    stage, random = stage_of(draw_line(bars=(), noise=0.02)), np.random.default_rng(0)
    for position, time in zip(random.uniform(0, 700, 60), random.uniform(4.9, 7, 60), strict=True):
        assert snap_bar(stage, position, time) is None
        assert snap_face(stage, position, time) is None


def test_a_click_in_empty_concrete_snaps_to_nothing(plain_stage, plain_line):
    assert snap_bar(plain_stage, 350.0, plain_line.echo_ns(260.0)) is None
    assert snap_face(plain_stage, 350.0, plain_line.echo_ns(260.0)) is None


def test_a_shallow_bar_is_flagged_as_overlapping_the_direct_wave(draw_line, stage_of):
    drawn = draw_line(bars=((350.0, 18.0),))
    pick = snap_bar(stage_of(drawn), 350.0, drawn.echo_ns(18.0))
    assert pick is not None
    assert pick.overlaps_direct


def test_a_line_recorded_backwards_gives_the_same_apex(draw_line, stage_of):
    drawn = draw_line(backwards=True)
    pick = snap_bar(stage_of(drawn), 160.0, drawn.echo_ns(50.0))
    assert pick is not None
    assert pick.position_mm == pytest.approx(150.0, abs=1.0)


def test_dead_traces_do_not_move_an_apex(draw_line, stage_of):
    drawn = draw_line(dead=(29, 32, 80))
    pick = snap_bar(stage_of(drawn), 155.0, drawn.echo_ns(50.0))
    assert pick is not None
    assert pick.position_mm == pytest.approx(150.0, abs=3.0)
    assert pick.time_ns == pytest.approx(drawn.echo_ns(50.0), abs=0.01)


def test_a_click_on_the_back_face_snaps_in_time(plain_line, plain_stage):
    expected = plain_line.echo_ns(160.0)
    pick = snap_face(plain_stage, 650.0, expected + 0.12)
    assert pick is not None
    assert pick.time_ns == pytest.approx(expected, abs=0.01)


def test_the_back_face_is_tracked_between_anchors_only(plain_line, plain_stage):
    expected = plain_line.echo_ns(160.0)
    track = track_face(plain_stage, np.array([600.0, 100.0]), np.array([expected] * 2))
    assert track.position_mm.min() >= 100.0
    assert track.position_mm.max() <= 600.0
    assert len(track.position_mm) > 80
    assert np.median(track.time_ns) == pytest.approx(expected, abs=0.005)


def test_a_gap_in_the_back_face_stays_a_gap(draw_line, stage_of):
    drawn = draw_line(bars=(), face_gap_mm=(290.0, 410.0))
    expected = drawn.echo_ns(160.0)
    track = track_face(stage_of(drawn), np.array([50.0, 650.0]), np.array([expected] * 2))
    assert not np.any((track.position_mm > 305) & (track.position_mm < 395))


def test_a_few_traces_out_of_step_are_left_out_of_the_back_face(draw_line, stage_of):
    drawn = draw_line(bars=())
    samples = drawn.scan.block(0, drawn.scan.traces).copy()
    samples[60:64, 150:] = np.roll(samples[60:64, 150:], 12, axis=1)
    expected = drawn.echo_ns(160.0)
    stage = PickStage(scan_from_array(samples, 0.02), find_direct_wave(drawn.scan, 2.0))
    track = track_face(stage, np.array([50.0, 650.0]), np.array([expected] * 2))
    assert len(track.time_ns) >= 115
    assert np.abs(track.time_ns - expected).max() < 0.1


def test_one_anchor_gives_itself(plain_stage):
    track = track_face(plain_stage, np.array([300.0]), np.array([3.5]))
    assert track.position_mm.tolist() == [300.0]


def test_a_scan_of_zeros_says_so():
    with pytest.raises(DepthwrightError, match="only zeros"):
        find_direct_wave(scan_from_array(np.zeros((10, 100)), 0.02), 2.0)
    with pytest.raises(DepthwrightError, match="no pulse"):
        centre_frequency_ghz(scan_from_array(np.zeros((10, 100)), 0.02))


def test_picking_never_changes_the_scan(plain_line, plain_stage):
    before = plain_line.scan.block(0, 141).copy()
    snap_bar(plain_stage, 150.0, 2.0)
    assert np.array_equal(before, plain_line.scan.block(0, 141))


@pytest.mark.parametrize("what", ["zeros", "an offset", "noise of a lifted antenna"])
def test_traces_without_a_direct_wave_do_not_spoil_it(draw_line, stage_of, what):
    """They are the quietest of all, and would pass for bar-free concrete."""
    drawn = draw_line()
    samples = drawn.scan.block(0, drawn.scan.traces).copy()
    random = np.random.default_rng(8)
    samples[-30:] = {
        "zeros": 0.0,
        "an offset": 1000.3,
        "noise of a lifted antenna": 0.002 * random.standard_normal(samples[-30:].shape),
    }[what]
    scan = scan_from_array(samples, drawn.scan.dt_ns)
    assert centre_frequency_ghz(scan) == pytest.approx(2.0, abs=0.3)
    direct = find_direct_wave(scan, 2.0)
    assert direct.time_ns == pytest.approx(1.0, abs=0.002)
    pick = snap_bar(PickStage(scan, direct), 155.0, drawn.echo_ns(50.0))
    assert pick is not None
    assert pick.time_ns == pytest.approx(drawn.echo_ns(50.0), abs=0.006)


def test_a_line_mostly_dead_is_still_read_where_it_lives(draw_line):
    drawn = draw_line(dead=tuple(range(60, 141)))
    assert centre_frequency_ghz(drawn.scan) == pytest.approx(2.0, abs=0.3)
    stage = PickStage(drawn.scan, find_direct_wave(drawn.scan, 2.0))
    pick = snap_bar(stage, 155.0, drawn.echo_ns(50.0))
    assert pick is not None
    assert pick.time_ns == pytest.approx(drawn.echo_ns(50.0), abs=0.006)
    assert snap_bar(stage, 500.0, drawn.echo_ns(50.0)) is None
    assert snap_face(stage, 500.0, drawn.echo_ns(160.0)) is None


@pytest.mark.parametrize(
    "drift",
    [
        lambda t: np.full_like(t, 100.0),
        lambda t: 5 * t / t[-1],
        lambda t: 2 * np.exp(-t / 2),
        lambda t: 5 * np.exp(-t / 5),
        lambda t: 2 * np.sin(2 * np.pi * 0.1 * t + 1),
    ],
    ids=["offset", "ramp", "fast decay", "slow decay", "slow swing"],
)
def test_offset_and_drift_stronger_than_the_pulse_move_no_pick_by_1_mm(draw_line, drift):
    drawn = draw_line()
    time = np.arange(drawn.scan.samples) * drawn.scan.dt_ns
    samples = drawn.scan.block(0, drawn.scan.traces) + drift(time).astype(np.float32)
    scan = scan_from_array(samples, drawn.scan.dt_ns)
    assert centre_frequency_ghz(scan) == pytest.approx(2.0, abs=0.3)
    direct = find_direct_wave(scan, 2.0)
    assert direct.time_ns == pytest.approx(1.0, abs=0.004)
    stage = PickStage(scan, direct)
    for position, cover in drawn.bars:
        pick = snap_bar(stage, position + 6, drawn.echo_ns(cover) + 0.05)
        assert pick is not None
        two_way_ns = pick.time_ns - direct.time_ns
        assert two_way_ns == pytest.approx(drawn.echo_ns(cover) - 1.0, abs=0.014)


@pytest.mark.parametrize(
    "drift",
    [
        lambda t: 3 * np.exp(-t),
        lambda t: 10 * np.exp(-t / 3),
        lambda t: 2 * np.exp(-t / 0.3),
    ],
    ids=["fast decay", "slow decay", "very fast decay"],
)
def test_the_centre_frequency_is_not_that_of_the_drift(plain_line, drift):
    time = np.arange(plain_line.scan.samples) * plain_line.scan.dt_ns
    samples = plain_line.scan.block(0, plain_line.scan.traces) + drift(time).astype(np.float32)
    scan = scan_from_array(samples, plain_line.scan.dt_ns)
    assert centre_frequency_ghz(scan) == pytest.approx(2.0, abs=0.3)


def test_turning_the_sign_or_scaling_the_samples_changes_no_pick(draw_line, plain_stage):
    drawn = draw_line()
    samples = -1e-6 * drawn.scan.block(0, drawn.scan.traces)
    scan = scan_from_array(samples, drawn.scan.dt_ns)
    pick = snap_bar(PickStage(scan, find_direct_wave(scan, 2.0)), 155.0, 1.9)
    plain = snap_bar(plain_stage, 155.0, 1.9)
    assert pick is not None
    assert plain is not None
    assert pick.time_ns == pytest.approx(plain.time_ns, abs=1e-5)
    assert pick.position_mm == pytest.approx(plain.position_mm, abs=1e-3)


@pytest.mark.parametrize("traces", [1, 2, 3])
def test_a_line_of_a_few_traces_can_still_be_read(draw_line, traces):
    drawn = draw_line(bars=())
    scan = scan_from_array(drawn.scan.block(0, traces), drawn.scan.dt_ns)
    stage = PickStage(scan, find_direct_wave(scan, 2.0))
    expected = drawn.echo_ns(160.0)
    pick = snap_face(stage, 0.0, expected)
    assert pick is not None
    assert pick.time_ns == pytest.approx(expected, abs=0.006)
    apex = snap_bar(stage, 0.0, expected)
    assert apex is None or apex.position_u_mm >= 5.0


@pytest.mark.parametrize(
    ("position_mm", "time_ns"), [(-1e4, 2.0), (1e4, 2.0), (350, -5), (350, 99)]
)
def test_a_click_beside_the_line_snaps_to_nothing(plain_stage, position_mm, time_ns):
    assert snap_bar(plain_stage, position_mm, time_ns) is None
    if time_ns != 2.0:
        assert snap_face(plain_stage, position_mm, time_ns) is None


def test_an_interval_given_wrongly_is_pointed_out(plain_line):
    scan = scan_from_array(plain_line.scan.block(0, 20), dt_ns=2000.0)
    with pytest.raises(DepthwrightError, match="no pulse"):
        centre_frequency_ghz(scan)


def test_the_face_of_a_line_recorded_backwards_is_tracked_in_ascending_order(draw_line, stage_of):
    drawn = draw_line(backwards=True)
    expected = drawn.echo_ns(160.0)
    track = track_face(stage_of(drawn), np.array([100.0, 600.0]), np.array([expected] * 2))
    assert np.all(np.diff(track.position_mm) > 0)
    assert np.median(track.time_ns) == pytest.approx(expected, abs=0.005)


def test_jitter_is_taken_out_of_the_picks(draw_line, stage_of):
    drawn = draw_line(bars=((350.0, 70.0),), jitter_ns=0.02)
    stage = stage_of(drawn)
    bar = snap_bar(stage, 355.0, drawn.echo_ns(70.0))
    # Clear of the bar's hyperbola, which would lean on the face's echo.
    face = snap_face(stage, 50.0, drawn.echo_ns(160.0))
    assert bar is not None
    assert face is not None
    for pick, depth in ((bar, 70.0), (face, 160.0)):
        two_way_ns = pick.time_ns - stage.direct.time_ns
        assert two_way_ns == pytest.approx(drawn.echo_ns(depth) - 1.0, abs=0.006)


def test_a_pick_by_hand_has_the_uncertainty_of_a_hand(plain_line, plain_stage):
    snapped = snap_bar(plain_stage, 150.0, plain_line.echo_ns(50.0))
    by_hand = place_by_hand(plain_stage, 150.0, plain_line.echo_ns(50.0))
    assert snapped.placed_by_crest
    assert not by_hand.placed_by_crest
    assert by_hand.position_u_mm > 5 * snapped.position_u_mm
    assert place_by_hand(plain_stage, 150.0, 1.05).overlaps_direct
    assert not by_hand.overlaps_direct
