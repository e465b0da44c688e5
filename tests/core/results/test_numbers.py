"""Every number of a job whose numbers are known beforehand."""

import math

import numpy as np
import pytest

from depthwright import edits
from depthwright.depth import priors
from depthwright.errors import DepthwrightError
from depthwright.job import Tie
from depthwright.measuring.backface import FaceTrack
from depthwright.measuring.picking import Pick
from depthwright.results.crests import two_way_beforehand_ns
from depthwright.results.evaluate import evaluate
from depthwright.results.values import Measured

K2 = 2.0
ONE_MM = Tie(depth_mm=50.0, plus_minus_mm=1.0)


def tie_first(job, tie=ONE_MM):
    return edits.tie_mark(job, "line-1", "bar-1", tie)


def reading(depth_mm):
    return ONE_MM.model_copy(update={"depth_mm": depth_mm})


def pick_at(position_mm, time_ns):
    return Pick(position_mm, 1.0, time_ns)


def covers(results, line="line-1"):
    return [row.cover.value_mm for row in results.lines[line].bars]


def test_one_exact_tie_makes_every_depth_exact(known_job):
    results = evaluate(tie_first(known_job()))
    assert results.permittivity == pytest.approx(8.0, abs=1e-6)
    assert covers(results) == pytest.approx([50.0, 30.0, 70.0], abs=1e-6)
    assert results.lines["line-1"].faces[0].median.value_mm == pytest.approx(160.0, abs=1e-6)


def test_one_tie_moves_every_depth_of_every_line(known_job):
    before = evaluate(known_job(lines=3))
    after = evaluate(tie_first(known_job(lines=3)))
    for line in ("line-1", "line-2", "line-3"):
        assert covers(after, line) == pytest.approx([50.0, 30.0, 70.0], abs=1e-6)
        for was, now in zip(covers(before, line), covers(after, line), strict=True):
            assert was > now + 1.0
        was, now = (results.lines[line].faces[0].median.value_mm for results in (before, after))
        assert was > now + 5.0


def test_only_a_job_with_neither_a_tie_nor_a_typed_value_is_provisional(known_job):
    job = known_job()
    typed = edits.type_permittivity(job, job.zones[0], 8.0, 0.5)
    assert evaluate(job).provisional
    assert not evaluate(typed).provisional
    assert not evaluate(tie_first(job)).provisional
    assert evaluate(edits.tie_mark(tie_first(job), "line-1", "bar-1", None)).provisional


def test_a_typed_permittivity_kept_beside_a_tie_is_weighed_with_it(known_job):
    """Two independent values of ln(permittivity) meet at their mean with weights 1/u^2."""
    job = tie_first(edits.change_antenna(known_job(), "antenna-1", time_offset_u_ns=1e-9))
    alone = evaluate(job)
    kept = evaluate(
        edits.change_zone(
            job, "zone-1", permittivity=6.0, permittivity_u=0.24, typed=True, keep=True
        )
    )
    weights = np.array([alone.permittivity_u / alone.permittivity, 0.04]) ** -2.0
    mean = math.exp((weights @ np.log([8.0, 6.0])) / weights.sum())
    # The reading moves with the mean, so the two meet only nearly there.
    assert kept.permittivity == pytest.approx(mean, rel=0.01)
    assert kept.permittivity_u / kept.permittivity == pytest.approx(weights.sum() ** -0.5, rel=0.03)


def test_limits_count_as_a_rectangular_distribution(known_job):
    """JCGM 100:2008, 4.3.7: +/- a with no more known is u = a / sqrt(3)."""
    limits = evaluate(tie_first(known_job(), Tie(depth_mm=50, plus_minus_mm=1.5, limits=True)))
    standard = evaluate(tie_first(known_job(), Tie(depth_mm=50, plus_minus_mm=1.5 / math.sqrt(3))))
    assert limits.permittivity_u == pytest.approx(standard.permittivity_u, rel=1e-12)
    assert limits.lines["line-1"].bars[0].cover.u_mm == pytest.approx(0.866, abs=5e-4)


def test_a_tied_bar_shows_its_tie_and_neighbours_more(known_job):
    rows = evaluate(tie_first(known_job())).lines["line-1"].bars
    assert rows[0].cover.expanded_mm == pytest.approx(2.0, abs=1e-6)
    assert rows[1].cover.u_mm > 1.0
    assert rows[2].cover.u_mm > 1.0


def test_a_second_tie_narrows_everything_and_widens_nothing(known_job):
    one = evaluate(tie_first(known_job()))
    second = Tie(depth_mm=160.0, plus_minus_mm=1.0, origin="drilled hole or core")
    two = evaluate(edits.change_anchor(tie_first(known_job()), "line-1", "face-1", 0, tie=second))
    assert two.permittivity_u < one.permittivity_u
    for was, now in zip(one.lines["line-1"].bars, two.lines["line-1"].bars, strict=True):
        assert now.cover.u_mm <= was.cover.u_mm + 1e-9
    was, now = (results.lines["line-1"].faces[0].median for results in (one, two))
    # What is left is how bars bend the echo from place to place (2 % of the time).
    assert now.u_mm < 0.7 * was.u_mm
    assert two.lines["line-1"].faces[0].anchors[0].depth.u_mm <= 1.0


def test_the_joint_covariance_names_its_rows(known_job):
    results = evaluate(tie_first(known_job()))
    assert results.parameters == (
        "ln_permittivity:zone-1",
        "ln_distance_scale:line-1",
        "ln_crossing:line-1",
        "time_offset_ns:antenna-1",
        "face_share:0",
        "meter:meter-1",
        "bars_early_ns",
        "tilt_per_ns",
        "ln_moveout",
    )
    assert results.covariance.shape == (9, 9)
    offset = results.parameters.index("time_offset_ns:antenna-1")
    # One tie moves the permittivity; what it says of the offset is nothing.
    assert results.covariance[offset, offset] == pytest.approx(0.04**2, rel=1e-6)
    relative = results.permittivity_u / results.permittivity
    assert results.covariance[0, 0] == pytest.approx(relative**2)


def test_a_direct_wave_that_is_not_sharp_joins_the_time_offset(known_job):
    """The card's 40 ps and the line's 30 ps are independent: 50 ps together."""
    job = edits.change_line(
        tie_first(known_job()), "line-1", direct={"time_ns": 1, "time_u_ns": 0.03}
    )
    assert evaluate(job).posterior.time_zero(0)[1] == pytest.approx(0.05, rel=1e-6)


def test_two_way_time_is_counted_from_the_direct_wave(known_job, file_ns):
    job = known_job()
    line = job.lines[0]
    assert two_way_beforehand_ns(job, line, file_ns(75.0)) == pytest.approx(
        2 * math.sqrt(8) * math.hypot(75, 20) / 299.792458
    )
    shifted = edits.change_line(job, "line-1", direct={"time_ns": 1.5})
    assert two_way_beforehand_ns(shifted, shifted.lines[0], file_ns(75.0) + 0.5) == pytest.approx(
        two_way_beforehand_ns(job, line, file_ns(75.0))
    )


def test_positions_follow_start_and_scale(known_job):
    job = edits.change_line(known_job(), "line-1", start_mm=-250.0, distance_scale=1.02)
    rows = evaluate(job).lines["line-1"].bars
    assert [row.position.value_mm for row in rows] == pytest.approx([-148.0, 56.0, 260.0])
    assert [row.spacing.value_mm for row in rows[1:]] == pytest.approx([204.0, 204.0])


def test_positions_and_spacings_carry_picks_and_scale(known_job):
    """Independent picks of 1 mm add in quadrature; the scale (1 %) is shared, so it is counted once."""
    rows = evaluate(known_job()).lines["line-1"].bars
    assert rows[2].position.u_mm == pytest.approx(math.hypot(1.0, 0.01 * 500))
    assert rows[2].spacing.u_mm == pytest.approx(math.sqrt(1 + 1 + (0.01 * 200) ** 2))


def test_bars_come_in_order_from_the_datum_whatever_the_order_of_marking(known_job, file_ns):
    job, _ = edits.add_bar(known_job(), "line-1", pick_at(150.0, file_ns(40.0)))
    rows = evaluate(job).lines["line-1"].bars
    assert [row.number for row in rows] == [1, 4, 2, 3]
    assert [row.spacing and row.spacing.value_mm for row in rows] == [None, 50.0, 150.0, 200.0]


def test_a_back_face_is_wider_under_bars(known_job):
    """Bars bend the echo: 2 % of the time at each point and 1.5 % along the face join the pick's."""
    sure = {"time_offset_u_ns": 1e-9}
    typed = {"permittivity": 8.0, "permittivity_u": 1e-3, "typed": True}

    def thickness(job):
        job = edits.change_zone(edits.change_antenna(job, "antenna-1", **sure), "zone-1", **typed)
        return evaluate(job).lines["line-1"].faces[0].median

    under, clear = thickness(known_job()), thickness(known_job(covers=()))
    mm_per_ns = 299.792458 / (2 * math.sqrt(8)) * math.hypot(160, 20) / 160
    time_ns = 2 * math.sqrt(8) * math.hypot(160, 20) / 299.792458
    assert clear.u_mm == pytest.approx(priors.FACE_PICK_U_NS * mm_per_ns, rel=1e-3)
    shares = math.hypot(priors.FACE_POINT_SHARE_U, priors.FACE_SHARE_U)
    both = math.hypot(priors.FACE_PICK_U_NS, shares * time_ns)
    assert under.u_mm == pytest.approx(both * mm_per_ns, rel=1e-3)


def test_a_bar_near_the_direct_wave_is_wider_and_says_so(known_job, bar_ns):
    """The nearer the echo to the direct wave, the more of its pick is the direct wave's tail."""
    sure = {"time_offset_u_ns": 1e-9}
    typed = {"permittivity": 8.0, "permittivity_u": 1e-3, "typed": True}
    job = edits.change_antenna(known_job(covers=(20.0, 30.0, 90.0)), "antenna-1", **sure)
    job = edits.change_zone(job, "zone-1", **typed)
    near, middle, far = (row.cover.u_mm for row in evaluate(job).lines["line-1"].bars)
    assert near > 1.1 * middle > 1.2 * far
    on_tail = edits.change_mark(job, "line-1", "bar-2", overlaps_direct=True)
    assert any("Bar 2" in said and "direct wave" in said for said in evaluate(on_tail).messages)


def test_a_face_is_read_where_it_was_tracked(known_job, file_ns):
    track = FaceTrack(
        np.array([0.0, 10.0, 20.0, 30.0]),
        np.array([file_ns(d) for d in (150.0, 155.0, 170.0, 157.0)]),
    )
    job = edits.change_line(tie_first(known_job()), "line-1", start_mm=100.0)
    face = evaluate(job, {"face-1": track}).lines["line-1"].faces[0]
    assert face.position_mm.tolist() == [100.0, 110.0, 120.0, 130.0]
    assert face.depth_mm == pytest.approx([150.0, 155.0, 170.0, 157.0], abs=1e-6)
    assert face.median.value_mm in face.depth_mm
    assert 155.0 - 1e-6 <= face.median.value_mm <= 157.0 + 1e-6
    assert np.all(face.depth_u_mm > 0)


def test_a_face_before_any_echo_has_no_thickness(known_job):
    job, face_id = edits.add_anchor(known_job(slab_mm=None), "line-1", None, pick_at(0.0, 0.1))
    face = evaluate(job).lines["line-1"].faces[0]
    assert face.mark_id == face_id
    assert math.isnan(face.median.value_mm)
    assert math.isnan(face.median.u_mm)


def test_targets_have_depths_and_take_ties(known_job, file_ns):
    """An exposed pipe is as good a known depth as a bar: it sets the permittivity for all."""
    job, target = edits.add_target(
        tie_first(known_job()), "line-1", pick_at(250.0, file_ns(90.0)), "duct"
    )
    row = evaluate(job).lines["line-1"].targets[0]
    assert (row.mark_id, row.what) == (target, "duct")
    assert row.depth.value_mm == pytest.approx(90.0, abs=1e-6)
    bare = edits.tie_mark(job, "line-1", "bar-1", None)
    pipe = Tie(depth_mm=90.0, plus_minus_mm=2.0, origin="exposed target")
    results = evaluate(edits.tie_mark(bare, "line-1", target, pipe))
    assert results.lines["line-1"].targets[0].depth.u_mm == pytest.approx(2.0, abs=1e-6)
    assert results.permittivity == pytest.approx(8.0, abs=1e-6)
    assert covers(results) == pytest.approx([50.0, 30.0, 70.0], abs=1e-6)


def test_a_tie_that_alone_would_outrun_light_is_refused_whatever_stands_beside_it(known_job):
    job = edits.tie_mark(tie_first(known_job()), "line-1", "bar-2", reading(110.0))
    with pytest.raises(DepthwrightError, match="faster than in air"):
        evaluate(job)


def test_a_tie_on_a_mark_before_any_echo_is_refused(known_job):
    job = edits.change_mark(known_job(), "line-1", "bar-1", time_ns=0.2)
    assert math.isnan(covers(evaluate(job))[0])
    with pytest.raises(DepthwrightError, match="faster than in air"):
        evaluate(tie_first(job))


def test_expanded_uncertainty_is_twice_the_standard_one():
    assert Measured(10.0, 1.5).expanded_mm == K2 * 1.5


def test_the_model_of_a_line_reads_times_and_writes_them(known_job, bar_ns):
    model = evaluate(tie_first(known_job())).lines["line-1"].model
    assert model.zero_ns == pytest.approx(1.0 - 40 / 299.792458)
    depths = np.array([0.0, 20.0, 100.0])
    assert model.file_ns(depths) == pytest.approx([bar_ns(d) for d in depths], abs=1e-9)
    read, u = model.depths(model.file_ns(depths[1:]), np.full(2, 0.01), bar=1.0)
    assert read == pytest.approx(depths[1:], abs=1e-6)
    assert np.all(u > 0)
    assert np.isnan(model.depths(np.array([0.5]), np.array([0.01]))[0][0])


def test_the_offset_that_two_ties_find_is_in_the_ruler_too(known_job):
    """All echoes 30 ps early: two exact ties find it, and the ruler still reads the marks' depths."""
    job = known_job()
    for mark in ("bar-1", "bar-2", "bar-3"):
        early = job.line("line-1").mark(mark).time_ns - 0.03
        job = edits.change_mark(job, "line-1", mark, time_ns=early)
    job = tie_first(job, reading(50.0))
    job = edits.tie_mark(job, "line-1", "bar-3", reading(70.0))
    results = evaluate(job)
    model = results.lines["line-1"].model
    assert model.residual_offset_ns > 0
    picked = job.line("line-1").mark("bar-2").time_ns
    back = model.permittivity_for(covers(results)[1], picked)
    assert back == pytest.approx(results.permittivity, abs=1e-6)
    ruler = model.file_ns(np.array(covers(results)[1:2]))
    assert ruler[0] == pytest.approx(picked, abs=1e-9)


def test_dragging_the_ruler_to_a_depth_gives_the_permittivity_that_reads_it(known_job, bar_ns):
    model = evaluate(known_job()).lines["line-1"].model
    assert model.permittivity_for(50.0, bar_ns(50.0)) == pytest.approx(8.0, abs=1e-6)


def test_bars_nearer_than_half_a_wavelength_are_pointed_out(known_job, bar_ns):
    job, _ = edits.add_bar(tie_first(known_job()), "line-1", pick_at(120.0, bar_ns(52.0)))
    (said,) = [m for m in evaluate(job).messages if "wavelength" in m]
    assert "Bar 1 and 4 on L1" in said
    assert not [m for m in evaluate(tie_first(known_job())).messages if "wavelength" in m]
