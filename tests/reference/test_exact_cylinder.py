"""Rays, picks, curve fits and proposed bars against the exact field of a conducting bar.

The exact solution is in this folder's conftest.py with its sources. The reference of time is the
line source's far field, whose envelope has its maximum at the centre of the pulse: a line antenna's
near field is no part of a ray.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize

from depthwright import edits, wave
from depthwright.depth import curvature
from depthwright.depth.curvature import Crest
from depthwright.finding.bars import propose_bars
from depthwright.finding.proposal import SHOWN_SCORE
from depthwright.intake import take_in
from depthwright.job import Antenna, Job
from depthwright.measuring.picking import snap_bar
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import centre_frequency_ghz, find_direct_wave
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.results.evaluate import evaluate
from depthwright.scan import scan_from_array
from depthwright.simulate.antenna import zero_time_ns
from depthwright.simulate.fdtd import LEAD_PERIODS

C_MM_PER_NS = 299.792458
DT_NS = 0.016
PULSE_NS = 1.0

DIAMETERS_MM = (10.0, 16.0, 32.0)
COVERS_MM = (20.0, 30.0, 40.0, 50.0, 60.0, 80.0)
PERMITTIVITIES = (6.0, 8.0, 10.0)
PULSES_GHZ = (1.6, 2.0, 2.6)
SEPARATIONS_MM = (40.0, 50.0, 60.0)


def picked_ns(traces, dt_ns=DT_NS):
    """Two-way time of the greatest envelope of each trace, ns."""
    envelopes = envelope(traces.astype(np.float32))
    return refine_peak(envelopes, envelopes.argmax(axis=1)) * dt_ns - PULSE_NS


def ray_ns(bar, offset_mm):
    """The program's time over the bar, ns, shape as the offsets."""
    return wave.bar_time(
        offset_mm, bar.cover_mm, bar.radius_mm, bar.permittivity, bar.separation_mm
    ).time_ns


def late_ps(bar, offsets_mm, pulse_ghz):
    """Picks minus rays, ps, shape as the offsets."""
    picked = picked_ns(bar.traces(offsets_mm, pulse_ghz, DT_NS))
    return 1000 * (picked - ray_ns(bar, offsets_mm))


def test_the_total_field_vanishes_on_the_metal(line_over_bar):
    bar = line_over_bar(30.0, 8.0, 7.0, 50.0)
    ghz = np.array([0.2, 1.0, 2.0, 4.0, 7.0])
    around = np.linspace(0, 2 * np.pi, 25)
    metal = np.stack([8 * np.sin(around), 38 - 8 * np.cos(around)], axis=1)
    source = np.tile([-25.0, 0.0], (len(metal), 1))
    direct = bar.direct(source, metal, ghz)
    total = direct + bar.scattered(source, metal, ghz, terms=34)
    assert np.abs(total / np.abs(direct).max(axis=0)).max() < 1e-9


def test_the_series_has_converged_and_is_reciprocal(line_over_bar):
    ghz = np.array([0.1, 2.0, 8.3])
    here, there = np.array([[-20.0, 0.0], [0.0, 0.0]]), np.array([[20.0, 0.0], [60.0, 0.0]])
    for radius in (5.0, 16.0):
        bar = line_over_bar(20.0, radius, 10.0, 40.0)
        field = bar.scattered(here, there, ghz)
        more = bar.scattered(here, there, ghz, terms=bar.terms(ghz) + 10)
        back = bar.scattered(there, here, ghz)
        assert np.abs(field / more - 1).max() < 1e-6
        assert np.abs(field / back - 1).max() < 1e-12


def test_the_direct_field_alone_follows_the_wave_to_a_distant_receiver(line_over_bar):
    """Many wavelengths away the picked time is that of the straight way."""
    bar = line_over_bar(50.0, 1.0, 6.25, 400.0)
    total = bar.traces(np.zeros(1), 2.0, DT_NS, samples=1024, with_direct=True)
    alone = total - bar.traces(np.zeros(1), 2.0, DT_NS, samples=1024)
    assert picked_ns(alone)[0] == pytest.approx(400 * 2.5 / C_MM_PER_NS, abs=0.001)


@pytest.mark.parametrize("pulse_ghz", PULSES_GHZ)
def test_the_reference_of_time_is_the_far_field_of_the_line_source(far_waveform, pulse_ghz):
    assert picked_ns(far_waveform(pulse_ghz, DT_NS)[None, :])[0] == pytest.approx(0, abs=2e-4)
    zero = zero_time_ns(pulse_ghz, 1.1 * pulse_ghz, DT_NS)
    assert zero == pytest.approx(LEAD_PERIODS / pulse_ghz, abs=1e-3)


@pytest.mark.parametrize("diameter_mm", DIAMETERS_MM)
def test_apex_picks_follow_the_ray_to_10_ps(line_over_bar, diameter_mm):
    """Pick minus exact two-antenna ray, over 162 cases each.

    Measured: 10 mm bar -7.7 to +9.1 ps, 16 mm -7.7 to +6.5, 32 mm -6.1 to +2.8.
    """
    late = []
    for cover, eps, pulse, s in itertools.product(
        COVERS_MM, PERMITTIVITIES, PULSES_GHZ, SEPARATIONS_MM
    ):
        bar = line_over_bar(cover, diameter_mm / 2, eps, s)
        late.append(late_ps(bar, np.zeros(1), pulse)[0])
    assert np.abs(late).max() < 10.0


@pytest.mark.parametrize("diameter_mm", DIAMETERS_MM)
def test_picks_beside_the_bar_follow_the_ray_to_11_ps(line_over_bar, diameter_mm):
    """Up to 150 mm beside it, over the same covers, permittivities, pulses and separations.

    Measured: 10 mm bar -10.2 to +7.1 ps, 16 mm -9.6 to +3.5, 32 mm -7.6 to +1.7; at 150 mm the picks
    are early by 3.6 to 10.2 ps.
    """
    offsets = np.array([20.0, 40.0, 60.0, 80.0, 100.0, 150.0])
    late = []
    for cover, eps, pulse, s in itertools.product(
        COVERS_MM, PERMITTIVITIES, PULSES_GHZ, SEPARATIONS_MM
    ):
        late.append(late_ps(line_over_bar(cover, diameter_mm / 2, eps, s), offsets, pulse))
    assert np.abs(late).max() < 11.0


NODES_MM = 20.0 * np.arange(9)


def crest(bar, pulse_ghz):
    """Picks every 20 mm up to 160 mm beside the bar, as far as 0.3 of the apex's strength."""
    traces = bar.traces(NODES_MM, pulse_ghz, DT_NS)
    strength = np.ptp(traces, axis=1)
    ends = np.flatnonzero(np.append(strength, 0.0) < 0.3 * strength[0])[0]
    picked = picked_ns(traces[:ends])
    right = list(zip(NODES_MM[:ends], picked, strict=True))
    return Crest(
        nodes=tuple((-x, time) for x, time in right[:0:-1]) + tuple(right),
        apex_mm=0.0,
        two_way_ns=float(picked[0]),
        radius_mm=bar.radius_mm,
        sine=1.0,
        separation_mm=bar.separation_mm,
        height_mm=0.0,
        frequency_ghz=1.18 * pulse_ghz,
    )


@pytest.fixture
def no_surface(monkeypatch):
    """In an endless dielectric no surface delays anything: its computed table is left out."""

    def no_delay(*inputs):
        return np.zeros(np.broadcast_shapes(*(np.shape(value) for value in inputs)))

    monkeypatch.setattr(curvature, "leg_delay_ns", no_delay)


@pytest.mark.usefixtures("no_surface")
@pytest.mark.parametrize("diameter_mm", DIAMETERS_MM)
def test_the_velocity_of_a_crest_is_within_1_percent(line_over_bar, diameter_mm):
    """Through the program's own fit, radius entered; 162 cases each; the scattered field alone.

    Measured, too fast in every case: 10 mm bar 0.14 to 0.97 %, 16 mm 0.12 to 0.84, 32 mm 0.08 to 0.66;
    worst over 20 mm of cover with the lowest pulse, at most 0.57 from 40 mm on. The picks cause it: they
    come later over the bar than beside it, against the ray, which flattens the crest.
    """
    bars, crests = [], []
    for cover, eps, pulse, s in itertools.product(
        COVERS_MM, PERMITTIVITIES, PULSES_GHZ, SEPARATIONS_MM
    ):
        bars.append(line_over_bar(cover, diameter_mm / 2, eps, s))
        crests.append(crest(bars[-1], pulse))
    answers = curvature.condense(crests)
    assert None not in answers
    away = np.array([a.log_permittivity for a in answers]) - np.log([b.permittivity for b in bars])
    too_fast = 100 * (np.exp(-away / 2) - 1)
    assert np.abs(too_fast).max() < 1.0
    # Each crest's own standard uncertainty covers what is left.
    assert np.all(np.abs(away) < [answer.u for answer in answers])


@pytest.mark.usefixtures("no_surface")
def test_what_is_left_out_of_the_geometry_reads_as_a_wrong_velocity(line_over_bar):
    """Under 50 mm of cover: a bar taken for a point, two antennas taken for one."""
    bars = [line_over_bar(50.0, radius, 8.0, 50.0) for radius in (5.0, 8.0, 16.0)]
    crests = [crest(bar, 2.0) for bar in bars]
    truth = np.sqrt(8.0)
    points = curvature.condense([replace(c, radius_mm=0.0) for c in crests])
    too_fast = [100 * (truth * np.exp(-a.log_permittivity / 2) - 1) for a in points]
    assert np.all(np.array(too_fast) > [3.0, 4.5, 9.0])
    (as_one,) = curvature.condense([replace(crests[1], separation_mm=0.0)])
    assert 100 * (truth * np.exp(-as_one.log_permittivity / 2) - 1) > 2.5


LINE_MM = np.arange(0.0, 601.0, 5.0)
BAR_AT_MM = 300.0


def line_scan(bars, pulse_ghz, dt_ns=DT_NS):
    """A line over bars at (position, bar), direct wave and all; they are too far apart to interact."""
    s = bars[0][1].separation_mm
    first, *others = [(LINE_MM - position, bar) for position, bar in bars]
    samples = first[1].traces(first[0], pulse_ghz, dt_ns, samples=400, with_direct=True)
    for offset, bar in others:
        samples = samples + bar.traces(offset, pulse_ghz, dt_ns, samples=400)
    return scan_from_array(samples, dt_ns, 5.0, separation_mm=s)


def card(bar, pulse_ghz):
    """An antenna inside the dielectric: its direct wave comes at ``s n / c``, not ``s / c``."""
    slower = np.sqrt(bar.permittivity) - 1
    return Antenna(
        id="antenna-1",
        separation_mm=bar.separation_mm,
        centre_frequency_ghz=1.18 * pulse_ghz,
        height_mm=0.0,
        time_offset_ns=bar.separation_mm * slower / C_MM_PER_NS,
        time_offset_u_ns=0.01,
    )


def snapped(bar, pulse_ghz, dt_ns=DT_NS):
    """The pick at a bar of the exact total field, and how late it is against the ray, ps."""
    scan = line_scan([(BAR_AT_MM, bar)], pulse_ghz, dt_ns)
    stage = PickStage(scan, find_direct_wave(scan, centre_frequency_ghz(scan)))
    ray = float(ray_ns(bar, 0.0))
    pick = snap_bar(stage, BAR_AT_MM + 4, PULSE_NS + ray)
    return pick, None if pick is None else 1000 * (pick.time_ns - PULSE_NS - ray)


@pytest.mark.parametrize(("pulse_ghz", "dt_ns"), [(1.6, 0.020), (2.0, 0.016), (2.6, 0.012)])
def test_picks_that_the_direct_wave_may_spoil_are_flagged(line_over_bar, pulse_ghz, dt_ns):
    """Every pick that is not flagged is within 20 ps of the ray, 1.2 mm of cover.

    Measured over more (covers in steps of 5 mm, also 10 and 32 mm bars): unflagged picks -12 to
    +16 ps, flagged ones up to 18 ps late from 45 mm on and up to 140 ps late over 20 mm of cover.
    """
    flagged, clear = [], []
    for cover, eps, s in itertools.product(COVERS_MM, (6.0, 10.0), (40.0, 60.0)):
        pick, late = snapped(line_over_bar(cover, 8.0, eps, s), pulse_ghz, dt_ns)
        if pick is None:
            assert cover <= 30  # The echo is lost in the direct wave: nothing is picked.
        else:
            (flagged if pick.overlaps_direct else clear).append((cover, late, pick.position_mm))
    assert {cover for cover, *_ in flagged} >= {20, 30}
    assert {cover for cover, *_ in clear} >= {80}
    assert max(abs(late) for _, late, _ in clear) < 20.0
    assert max(abs(place - BAR_AT_MM) for *_, place in clear) < 1.0


def test_the_results_say_which_bar_lies_on_the_direct_wave(line_over_bar):
    """A bar under 25 mm and one under 70 mm of concrete on one line, 16 mm thick, permittivity 8."""
    shallow, deep = line_over_bar(25.0, 8.0, 8.0, 40.0), line_over_bar(70.0, 8.0, 8.0, 40.0)
    scan = line_scan([(150.0, shallow), (450.0, deep)], 2.0)
    job, line_id = take_in(Job(), scan, card=card(deep, 2.0))
    line = job.line(line_id)
    stage = PickStage(scan, find_direct_wave(scan, job.antenna_of(line).centre_frequency_ghz))
    for position, bar in ((150.0, shallow), (450.0, deep)):
        pick = snap_bar(stage, position, PULSE_NS + float(ray_ns(bar, 0.0)))
        job, _ = edits.add_bar(job, line_id, pick)
    job = edits.type_permittivity(job, job.zones[0], 8.0, 0.1)
    results = evaluate(job)
    first, second = results.lines[line_id].bars
    assert (first.overlaps_direct, second.overlaps_direct) == (True, False)
    said = [message for message in results.messages if "direct wave" in message]
    assert len(said) == 1
    assert "Bar 1" in said[0]
    assert "Bar 2" not in said[0]
    assert "wider" in said[0]


PROPOSED = ((100.0, 45.0), (300.0, 60.0), (500.0, 50.0))
"""Position and cover of three bars, mm."""


@pytest.mark.parametrize(
    ("eps", "s", "radius_mm", "pulse_ghz"),
    [(8.0, 40.0, 8.0, 2.0), (6.0, 50.0, 6.0, 2.0), (10.0, 40.0, 5.0, 2.6)],
)
def test_bars_are_proposed_where_they_lie_and_their_crests_fit_the_hyperbola(
    line_over_bar, eps, s, radius_mm, pulse_ghz
):
    """Places and times against the exact field; crests against ``scipy.optimize.curve_fit``.

    What is fitted is the way from each antenna to the bar's centre less twice the radius, by place,
    depth and velocity. Measured: places off by up to 0.5 mm, times by -6 to +10 ps, fitted places by
    up to 0.4 mm, velocities too fast by 0.6 to 2.9 %: free in depth, they have only the bend.
    """
    bars = [(place, line_over_bar(cover, radius_mm, eps, s)) for place, cover in PROPOSED]
    scan = line_scan(bars, pulse_ghz)
    job, line_id = take_in(Job(), scan, card=card(bars[0][1], pulse_ghz))
    line = job.line(line_id)
    stage = PickStage(scan, find_direct_wave(scan, job.antenna_of(line).centre_frequency_ghz))
    found = [bar.pick for bar in propose_bars(job, line, stage) if bar.score >= SHOWN_SCORE]
    assert [pick.position_mm for pick in found] == pytest.approx([at for at, _ in bars], abs=1.0)

    def hyperbola(along_mm, apex_mm, centre_mm, mm_per_ns):
        beside = along_mm - apex_mm
        ways = sum(np.hypot(beside + side, centre_mm) for side in (-s / 2, s / 2))
        return PULSE_NS + (ways - 2 * radius_mm) / mm_per_ns

    for pick, (place, bar) in zip(found, bars, strict=True):
        assert pick.time_ns == pytest.approx(PULSE_NS + float(ray_ns(bar, 0.0)), abs=0.015)
        guess = (pick.position_mm, 40.0, 120.0)
        (apex_mm, _, velocity), _ = scipy.optimize.curve_fit(
            hyperbola, *np.transpose(pick.crest), p0=guess
        )
        assert apex_mm == pytest.approx(place, abs=1.0)
        assert velocity == pytest.approx(C_MM_PER_NS / np.sqrt(eps), rel=0.04)
