"""The back face found by itself, and what is not taken for it."""

import numpy as np
import pytest

from depthwright.finding.face import propose_face
from depthwright.finding.level import bar_phase
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.measuring.picking import Pick
from depthwright.processing.envelope import companion
from depthwright.results.tracking import pick_stage
from depthwright.scan import no_report, scan_from_array

DT_NS, FREQUENCY_GHZ, DIRECT_NS = 0.02, 2.0, 1.0
TIME = np.arange(400) * DT_NS
SLOWNESS = 0.01887
"""Two-way time per mm of depth at a permittivity of 8, ns."""
ZERO_NS = DIRECT_NS - 0.14
BARS_MM = (100.0, 280.0, 460.0, 640.0)


def ricker(late_ns):
    phase = (np.pi * FREQUENCY_GHZ * (TIME - np.asarray(late_ns)[..., None])) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def direct_wave(late_ns):
    """Its phase lies as far from that of a face as on full-wave lines."""
    pulse = ricker(late_ns)
    turn = np.exp(-1j * np.radians(85.0))
    return (pulse * turn.real - companion(pulse) * turn.imag).astype(float)


def at_ns(depth_mm):
    return ZERO_NS + SLOWNESS * np.asarray(depth_mm, dtype=float)


def hyperbolas(x, apexes_mm, cover_mm, strength=0.5):
    away = np.hypot(cover_mm, x[:, None] - np.asarray(apexes_mm)[None, :])
    echoes = strength * np.sqrt(cover_mm / away)[..., None] * ricker(ZERO_NS + SLOWNESS * away)
    return -echoes.sum(axis=1)


def bar_at(position_mm, cover_mm):
    return BarProposal(Pick(position_mm, 1.0, float(at_ns(cover_mm))), 0.9, "drawn")


@pytest.fixture
def look():
    """Draw a line of 740 mm, have its back face proposed, and give face and messages."""

    def looked(
        thickness_mm=lambda x: 160 + 0 * x,
        strength=0.3,
        bars_mm=BARS_MM,
        known=BARS_MM,
        echoes=lambda x: 0.0,
        noise=0.004,
        jitter_ns=0.0,
        dead=(),
        backwards=False,
        samples=400,
        length_mm=740.0,
        sign=1.0,
        report=no_report,
    ):
        random = np.random.default_rng(11)
        x = np.arange(0.0, length_mm + 1, 5.0)
        late = jitter_ns * random.uniform(-1, 1, len(x))
        traces = direct_wave(np.full(len(x), DIRECT_NS)) + hyperbolas(x, bars_mm, 45.0) + echoes(x)
        traces += strength * ricker(at_ns(thickness_mm(x)))
        rows = np.arange(len(TIME))[None, :] - late[:, None] / DT_NS
        traces = np.stack(
            [np.interp(r, np.arange(len(TIME)), t) for r, t in zip(rows, traces, strict=True)]
        )
        traces += noise * random.standard_normal(traces.shape)
        traces[list(dead)] = 0.0
        traces *= sign
        if backwards:
            scan = scan_from_array(
                traces[::-1, :samples], DT_NS, -5.0, length_mm, 40.0, FREQUENCY_GHZ
            )
        else:
            scan = scan_from_array(traces[:, :samples], DT_NS, 5.0, 0.0, 40.0, FREQUENCY_GHZ)
        job, line_id = take_in(Job(), scan)
        line = job.line(line_id)
        stage = pick_stage(job, line, scan)
        bars = [bar_at(p, 45.0) for p in known]
        return propose_face(stage, bars, bar_phase(stage, bars), report)

    return looked


def off_mm(face, thickness_mm):
    """How far anchors lie from the truth, as a depth."""
    where = np.array([anchor.position_mm for anchor in face.anchors])
    when = np.array([anchor.time_ns for anchor in face.anchors])
    return np.abs(when - at_ns(thickness_mm(where))) / SLOWNESS


THICKNESSES = {
    "level": lambda x: 160 + 0 * x,
    "sloping": lambda x: 150 + 0.05 * x,
    "stepped": lambda x: 150 + 30.0 * (x > 372),
}


@pytest.mark.parametrize("shape", THICKNESSES)
@pytest.mark.parametrize("known", [BARS_MM, ()], ids=["bars known", "bars unknown"])
def test_it_is_found_between_bars_without_a_click(look, shape, known):
    face, messages = look(THICKNESSES[shape], known=known)
    assert face is not None
    assert face.score > 0.7
    assert messages == ()
    away = np.min(np.abs(np.array([a.position_mm for a in face.anchors])[:, None] - 372), axis=1)
    off = off_mm(face, THICKNESSES[shape])
    assert off[away > 40 if shape == "stepped" else slice(None)].max() < 2.5


@pytest.mark.parametrize("thickness_mm", [85.0, 330.0])
def test_thin_slabs_and_thick_ones_are_found(look, thickness_mm):
    face, _ = look(lambda x: thickness_mm + 0 * x, bars_mm=(), known=())
    assert face is not None
    assert off_mm(face, lambda x: thickness_mm + 0 * x).max() < 1.5


def test_a_line_of_the_other_sign_gives_the_same(look):
    face, _ = look()
    turned, _ = look(sign=-1.0)
    assert [a.time_ns for a in turned.anchors] == pytest.approx(
        [a.time_ns for a in face.anchors], abs=1e-3
    )


def test_how_far_it_is_is_told_and_it_can_be_ended(look):
    told = []
    look(report=told.append)
    assert told[-1] == 1.0
    assert told == sorted(told)

    def end(done):
        raise RuntimeError("ended")

    with pytest.raises(RuntimeError, match="ended"):
        look(report=end)


def test_anchors_lie_midway_between_bars_and_reach_both_ends(look):
    face, _ = look()
    where = np.array([anchor.position_mm for anchor in face.anchors])
    for middle in (190.0, 370.0, 550.0):
        assert np.abs(where - middle).min() <= 10.0
    assert where.min() < 60.0
    assert where.max() > 680.0
    assert np.diff(where).min() >= 80.0
    assert all(np.isnan(anchor.position_u_mm) for anchor in face.anchors)


def test_without_bars_anchors_stand_evenly(look):
    face, _ = look(bars_mm=(), known=())
    where = np.array([anchor.position_mm for anchor in face.anchors])
    assert np.diff(where).max() <= 210.0
    assert off_mm(face, THICKNESSES["level"]).max() < 1.0


def test_the_reason_says_what_was_seen(look):
    face, _ = look()
    assert face.reason.startswith("clear echo along ")
    assert "dB above its surroundings" in face.reason


def test_an_echo_6_db_above_the_noise_is_enough(look):
    """A Ricker pulse of 0.05 against an envelope of noise, in its band, of about half of that."""
    face, _ = look(strength=0.05, bars_mm=(), known=(), noise=0.045)
    assert face is not None
    assert face.score >= SHOWN_SCORE
    assert off_mm(face, THICKNESSES["level"]).max() < 4.0


def test_dead_traces_and_jitter_are_no_trouble(look):
    face, _ = look(dead=(20, 21, 60, 100), jitter_ns=0.02)
    assert face is not None
    assert off_mm(face, THICKNESSES["level"]).max() < 2.5


def test_a_line_recorded_backwards_gives_the_same(look):
    forth, _ = look(THICKNESSES["sloping"])
    back, _ = look(THICKNESSES["sloping"], backwards=True)
    assert off_mm(back, THICKNESSES["sloping"]).max() < 2.5
    assert back.score == pytest.approx(forth.score, abs=0.05)


@pytest.mark.parametrize("noise", [0.004, 0.03])
@pytest.mark.parametrize("bars", [BARS_MM, ()], ids=["bars", "none"])
def test_without_a_back_face_there_is_a_sentence(look, bars, noise):
    face, messages = look(strength=0.0, noise=noise, bars_mm=bars, known=bars)
    assert face is None
    assert len(messages) == 1
    assert "back face" in messages[0]
    assert messages[0].endswith(".")


def test_a_metal_plate_is_not_taken_and_neither_is_its_multiple(look):
    def plate(x):
        there = np.full(len(x), 1.0)
        twice = 2 * 150.0
        return -0.6 * ricker(at_ns(150.0) * there) + 0.3 * ricker(at_ns(twice) * there)

    face, messages = look(strength=0.0, bars_mm=(), known=(), echoes=plate)
    assert face is None
    assert len(messages) == 1
    assert "polarity of bars" in messages[0]
    assert "not marked as the back face" in messages[0]


def test_a_shallow_plate_is_named_though_its_repeats_surround_it(look):
    def plate(x):
        there = np.ones(len(x))
        return sum(-0.8 * (-0.6) ** (n - 1) * ricker(at_ns(50.0 * n) * there) for n in range(1, 6))

    face, messages = look(strength=0.0, bars_mm=(), known=(), echoes=plate)
    assert face is None
    assert any("a plate" in said for said in messages)


def test_a_layer_of_bars_along_the_line_gets_a_hint_and_the_face_below_is_found(look):
    def along(x):
        return -0.4 * ricker(np.full(len(x), at_ns(45.0)))

    face, messages = look(bars_mm=(), known=(), echoes=along)
    assert face is not None
    assert off_mm(face, THICKNESSES["level"]).max() < 2.0
    assert len(messages) == 1
    assert "parallel to the line" in messages[0]
    assert "Scan across it" in messages[0]


def test_bars_across_the_line_get_no_such_hint(look):
    close = tuple(np.arange(40.0, 740.0, 70.0))
    _, messages = look(bars_mm=close, known=close)
    assert not any("parallel" in said for said in messages)


def test_the_multiple_of_the_face_is_not_taken_even_where_it_is_as_strong(look):
    def twice(x):
        return 0.28 * ricker(np.full(len(x), at_ns(2 * 160.0)))

    face, _ = look(echoes=twice, bars_mm=(), known=())
    assert face is None or off_mm(face, THICKNESSES["level"]).max() < 2.0


@pytest.mark.parametrize("spacing_mm", [90.0, 180.0])
def test_a_lower_mat_is_not_taken(look, spacing_mm):
    lower = np.arange(-100.0, 900.0, spacing_mm)
    face, _ = look(strength=0.0, echoes=lambda x: hyperbolas(x, lower, 120.0))
    assert face is None


def test_ringing_is_not_taken(look):
    def ringing(x):
        times = DIRECT_NS + 0.5 * np.arange(1, 12)
        tail = sum((-0.75) ** k * ricker(t) for k, t in enumerate(times, start=1))
        return np.tile(0.4 * tail, (len(x), 1))

    face, _ = look(strength=0.0, bars_mm=(), known=(), echoes=ringing)
    assert face is None


def test_a_record_that_ends_too_early_says_so(look):
    face, messages = look(samples=120)
    assert face is None
    assert "the record ends" in messages[0]
    assert "Record for longer" in messages[0]


def test_where_the_face_ends_there_are_no_anchors(look):
    def gone(x):
        return -np.where(x > 400, 0.3, 0.0)[:, None] * ricker(np.full(len(x), at_ns(160.0)))

    face, _ = look(echoes=gone, bars_mm=(), known=())
    if face is not None:
        assert max(anchor.position_mm for anchor in face.anchors) < 425.0


def test_a_long_line_is_looked_at_piece_by_piece(look, monkeypatch):
    monkeypatch.setattr("depthwright.finding.face.STRETCH_COLUMNS", 30)
    told = []

    def thickness_mm(x):
        return 160 + 0.02 * x

    face, _ = look(thickness_mm, length_mm=2400.0, bars_mm=(), known=(), report=told.append)
    assert len(told) == 4
    where = np.array([anchor.position_mm for anchor in face.anchors])
    assert np.all(np.diff(where) > 0)
    assert np.diff(where).max() <= 210.0
    assert off_mm(face, thickness_mm).max() < 1.5
