"""Clicks become picks: the direct wave, apexes, the back face."""

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.measuring.backface import track_face
from depthwright.measuring.picking import snap_bar, snap_face
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
