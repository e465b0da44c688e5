"""The back face between its anchors: followed where it shows, and nowhere else."""

from dataclasses import dataclass

import numpy as np
import pytest

from depthwright.measuring.backface import track_face
from depthwright.measuring.patch import PATCH_MM, averaged, column_traces, patch_envelopes
from depthwright.measuring.picking import snap_face
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import find_direct_wave
from depthwright.processing.envelope import envelope
from depthwright.scan import scan_from_array

DT_NS, FREQUENCY_GHZ, DIRECT_NS = 0.02, 2.0, 1.0
TIME = np.arange(350) * DT_NS


def ricker(late_ns):
    phase = (np.pi * FREQUENCY_GHZ * (TIME - np.asarray(late_ns)[..., None])) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


@dataclass(frozen=True)
class Line:
    """A drawn line and its face's file time at each trace."""

    stage: PickStage
    face_ns: np.ndarray

    def track(self, *anchors_mm, off_ns=0.0):
        position = self.stage.scan.positions_mm
        order = np.argsort(position)
        times = np.interp(anchors_mm, position[order], self.face_ns[order])
        return track_face(self.stage, np.array(anchors_mm, dtype=float), times + off_ns)

    def off_ns(self, track):
        position = self.stage.scan.positions_mm
        order = np.argsort(position)
        return track.time_ns - np.interp(track.position_mm, position[order], self.face_ns[order])


@pytest.fixture
def draw():
    def drawn(
        face_ns=lambda x: 3.5 + 0 * x,
        strength=lambda x: 0.3 + 0 * x,
        bars_mm=(),
        more=0.0,
        noise=0.003,
        dead=(),
        spacing_mm=5.0,
    ):
        """A line of 1000 mm with bars 50 mm deep at a permittivity of 8, and ``more`` besides."""
        random = np.random.default_rng(3)
        x = np.arange(0.0, 1001.0, abs(spacing_mm))
        samples = ricker(np.full(len(x), DIRECT_NS)) + more
        for bar in bars_mm:
            away = np.hypot(50.0, x - bar)
            samples -= (0.5 * np.sqrt(50.0 / away))[:, None] * ricker(DIRECT_NS + away * 0.01887)
        samples += strength(x)[:, None] * ricker(face_ns(x))
        samples += noise * random.standard_normal(samples.shape)
        samples[list(dead)] = 0.0
        if spacing_mm < 0:
            scan = scan_from_array(samples[::-1], DT_NS, spacing_mm, 1000.0)
            x = x[::-1]
        else:
            scan = scan_from_array(samples, DT_NS, spacing_mm)
        return Line(PickStage(scan, find_direct_wave(scan, FREQUENCY_GHZ)), face_ns(x))

    return drawn


@pytest.mark.parametrize("slope", [0.0, 0.001, -0.003], ids=["level", "sloping", "steep"])
@pytest.mark.parametrize("spacing_mm", [1.0, 5.0, -5.0, 20.0])
def test_a_plane_face_is_followed_to_10_ps(draw, slope, spacing_mm):
    line = draw(lambda x: 3.5 + slope * (x - 500), spacing_mm=spacing_mm)
    track = line.track(60.0, 940.0)
    assert np.abs(line.off_ns(track)).max() < 0.015
    assert np.median(np.abs(line.off_ns(track))) < 0.004
    assert len(track.time_ns) > 850 / max(abs(spacing_mm), 5.0)
    assert np.all(np.diff(track.position_mm) > 0)
    assert track.quality.min() > 0.8


@pytest.mark.parametrize("step_ns", [0.38, -0.75], ids=["20 mm thicker", "40 mm thinner"])
def test_a_step_in_thickness_is_followed(draw, step_ns):
    line = draw(lambda x: 3.6 + step_ns * (x > 502))
    track = line.track(60.0, 940.0)
    beside = np.abs(track.position_mm - 502) > 25
    assert np.abs(line.off_ns(track)[beside]).max() < 0.02
    # Nothing is drawn into the step: all is at one thickness or the other.
    assert np.min([np.abs(track.time_ns - t) for t in (3.6, 3.6 + step_ns)], axis=0).max() < 0.06


def test_anchors_are_passed_through_exactly_and_pull_nothing_else(draw):
    line = draw()
    track = line.track(60.0, 500.0, 940.0, off_ns=0.12)
    at = np.isin(track.position_mm, [60.0, 500.0, 940.0])
    assert np.array_equal(track.time_ns[at], [3.62] * 3)
    assert np.abs(line.off_ns(track)[~at]).max() < 0.02


def test_an_anchor_between_two_traces_stays_where_it_is(draw):
    line = draw()
    track = line.track(61.3, 938.9)
    assert (track.position_mm[0], track.position_mm[-1]) == (61.3, 938.9)
    assert np.all(np.diff(track.position_mm) > 0)


def test_a_gap_stays_a_gap(draw):
    line = draw(strength=lambda x: np.where((x > 400) & (x < 500), 0.0, 0.3))
    track = line.track(60.0, 940.0)
    assert not np.any((track.position_mm > 415) & (track.position_mm < 485))
    assert np.abs(line.off_ns(track)).max() < 0.02


def test_between_anchors_on_noise_nothing_is_invented(draw):
    line = draw(strength=lambda x: 0 * x, noise=0.02)
    assert len(line.track(60.0, 500.0, 940.0).time_ns) < 20


def test_quality_falls_where_the_echo_is_weak(draw):
    line = draw(strength=lambda x: np.where(np.abs(x - 500) < 60, 0.12, 0.3))
    track = line.track(60.0, 940.0)
    weak = np.abs(track.position_mm - 500) < 35
    assert np.median(track.quality[weak]) == pytest.approx(0.4, abs=0.1)
    assert track.quality[np.abs(track.position_mm - 500) > 100].min() > 0.85


def test_bars_tails_cross_it_without_taking_it_along(draw):
    line = draw(bars_mm=(100.0, 300.0, 500.0, 700.0, 900.0))
    track = line.track(200.0, 800.0)
    off = np.abs(line.off_ns(track))
    assert len(off) > 100
    assert np.median(off) < 0.01
    assert off.max() < 0.06


@pytest.mark.parametrize("late_ns", [-0.9, 0.8])
def test_a_stronger_level_echo_beside_it_is_left_alone(draw, late_ns):
    line = draw(more=0.7 * ricker(np.full(201, 3.5 + late_ns)))
    track = line.track(60.0, 940.0)
    assert len(track.time_ns) > 150
    assert np.abs(line.off_ns(track)).max() < 0.05


def test_dead_traces_are_bridged_and_a_dead_stretch_is_a_gap(draw):
    line = draw(dead=(50, 51, 90, *range(120, 160)))
    track = line.track(60.0, 940.0)
    assert np.abs(line.off_ns(track)).max() < 0.015
    assert not np.any((track.position_mm > 620) & (track.position_mm < 775))
    assert np.sum(track.position_mm < 580) > 95


def test_a_part_of_a_line_is_tracked_as_in_the_whole(draw):
    """Blocks and their margins leave no seam."""
    line = draw(lambda x: 3.5 + 0.1 * np.sin(x / 90), spacing_mm=1.0)
    whole, part = line.track(60.0, 300.0, 940.0), line.track(60.0, 300.0)
    inside = whole.position_mm < 300
    assert np.allclose(whole.time_ns[inside], part.time_ns[:-1], atol=2e-3)


def test_a_click_snaps_to_the_time_the_track_has_there(draw):
    line = draw(bars_mm=(100.0, 300.0, 500.0, 700.0, 900.0))
    track = line.track(100.0, 900.0)
    for position in (200.0, 410.0, 600.0):
        pick = snap_face(line.stage, position, 3.6)
        assert pick is not None
        there = np.interp(position, track.position_mm, track.time_ns)
        assert pick.time_ns == pytest.approx(there, abs=0.02)


def test_averaging_along_the_line_keeps_what_is_level_and_lowers_tails(draw):
    line = draw(bars_mm=(300.0,), noise=0.0)
    columns = column_traces(line.stage)
    broad = patch_envelopes(line.stage, columns, 0, len(TIME))
    plain = line.stage.envelope(0, 201)
    level, tail = round(3.5 / DT_NS), round((DIRECT_NS + np.hypot(50, 90) * 0.01887) / DT_NS)
    assert broad[150, level] == pytest.approx(plain[150, level], rel=0.02)
    assert broad[78, tail] < 0.5 * plain[78, tail]


def test_an_average_does_not_count_dead_traces():
    along = np.arange(0.0, 400.0, 5.0)
    waves = np.ones((80, 3), np.complex64)
    living = np.ones(80, dtype=bool)
    waves[30:50], living[30:50] = 0, False
    assert np.allclose(averaged(along, along, waves, living, PATCH_MM), 1.0)


def test_columns_are_about_5_mm_apart(draw):
    assert np.all(np.diff(column_traces(draw(spacing_mm=1.0).stage)) == 5)
    assert np.all(np.diff(column_traces(draw(spacing_mm=20.0).stage)) == 1)


def test_the_envelope_of_the_average_is_that_of_the_averaged_wave(draw):
    line = draw(noise=0.0)
    one = patch_envelopes(line.stage, np.array([100]), 0, len(TIME))
    assert np.allclose(one, envelope(line.stage.block(100, 101)), atol=0.003)
