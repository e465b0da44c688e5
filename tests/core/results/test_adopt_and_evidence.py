"""How evidence is adopted, what the ledger says of it, and that no interval ever jumps."""

import math

import numpy as np
import pytest

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.job import Tie
from depthwright.measuring.picking import Pick
from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line


def tied(job, depth=50.0, u=1.0, bar="bar-1", **fields):
    return edits.tie_mark(job, "line-1", bar, Tie(depth_mm=depth, plus_minus_mm=u, **fields))


def thickness(results):
    return results.lines["line-1"].faces[0].median


def row(results, kind):
    return next(row for row in results.evidence if row.kind == kind)


class TestATypedPermittivityBesideAVagueTie:
    """The tie of 50 mm agrees with permittivity 8; typed is 7 +/- 1.5."""

    def test_intervals_are_continuous_as_the_ties_uncertainty_goes_to_infinity(self, known_job):
        job = known_job()
        untied = thickness(evaluate(job))
        spreads = np.geomspace(0.5, 60.0, 80)
        faces = [thickness(evaluate(tied(job, u=float(u)))) for u in spreads]
        u = np.array([face.u_mm for face in faces])
        values = np.array([face.value_mm for face in faces])
        # From one step to the next (6 %) nothing leaps, and nothing gets wider than without a tie.
        assert np.all(np.abs(np.diff(u)) < 0.08 * u[:-1])
        assert np.all(np.abs(np.diff(values)) < 1.5)
        assert np.all(u <= untied.u_mm * 1.02)
        assert u[-1] == pytest.approx(untied.u_mm, rel=0.02)
        assert values[-1] == pytest.approx(untied.value_mm, abs=0.6)

    def test_it_steps_aside_for_one_that_says_more(self, known_job):
        results = evaluate(tied(known_job()))
        assert not row(results, "typed").used
        assert "Steps aside" in row(results, "typed").note
        assert results.permittivity == pytest.approx(8.0, abs=1e-6)

    def test_it_fills_up_what_a_vague_one_leaves_open(self, known_job):
        results = evaluate(tied(known_job(), u=9.0))
        assert row(results, "typed").used
        assert "% of its weight" in row(results, "typed").note
        relative = results.permittivity_u / results.permittivity
        assert relative == pytest.approx(1.5 / 7, rel=0.02)


def test_a_tie_set_aside_counts_for_nothing_and_stays_in_the_ledger(known_job):
    job = tied(tied(known_job()), depth=44.0, bar="bar-2")
    aside = tied(tied(known_job()), depth=44.0, bar="bar-2", set_aside="read beside a lap")
    before, after, without = evaluate(job), evaluate(aside), evaluate(tied(known_job()))
    assert after.permittivity == pytest.approx(without.permittivity, rel=1e-9)
    assert thickness(after).u_mm == pytest.approx(thickness(without).u_mm, rel=1e-9)
    assert before.permittivity != pytest.approx(after.permittivity, abs=0.05)
    kept = [r for r in after.evidence if r.mark_id == "bar-2"]
    assert [(r.used, r.note) for r in kept] == [(False, "Set aside: read beside a lap.")]
    assert after.lines["line-1"].bars[1].tie is None
    assert not any("bar 2" in source for source in after.adopted_from)


def test_a_duplicated_tie_of_one_meter_is_not_worth_two(known_job, bar_ns):
    """Two bars side by side at one cover, read by one meter: what it shares does not average out."""
    job = known_job(covers=(50.0, 50.0))
    one = evaluate(tied(job))
    two = evaluate(tied(tied(job), bar="bar-2"))
    ratio = two.permittivity_u / one.permittivity_u
    assert 0.8 < ratio < 1.0
    apart = edits.change_job(job, meters=(job.meters[0].model_copy(update={"shared": 0.0}),))
    independent = evaluate(tied(tied(apart), bar="bar-2")).permittivity_u
    assert independent < two.permittivity_u


def test_each_tie_says_how_far_it_lies_from_the_rest(known_job):
    results = evaluate(tied(tied(known_job()), depth=31.0, bar="bar-2"))
    notes = [r.note for r in results.evidence if r.kind == "tie"]
    assert len(notes) == 2
    assert all("standard uncertainties from what the rest says" in note for note in notes)
    assert evaluate(tied(known_job())).evidence[0].note == "All that is known rests on it."


class TestDisagreement:
    def test_names_the_ties_and_what_may_lie_behind_it(self, known_job, bar_ns):
        job = known_job(covers=(50.0, 30.0, 70.0))
        pick = Pick(150.0, 1.0, bar_ns(52.0))
        job, _ = edits.add_bar(job, "line-1", pick)
        job = tied(tied(job, depth=42.0), depth=70.0, bar="bar-3")
        (said,) = [w for w in evaluate(job).warnings if "disagree" in w]
        assert "bar 1" in said
        assert "50\u202fmm away" in said
        assert "reads low" in said
        assert "leave out the one that is wrong" in said

    def test_of_the_meters_diameter_is_a_likely_cause(self, known_job):
        job = tied(tied(known_job(), depth=42.0, meter_diameter_mm=25.0), depth=70.0, bar="bar-3")
        (said,) = [w for w in evaluate(job).warnings if "disagree" in w]
        assert "The meter was set to 25\u202fmm" in said

    def test_of_curvature_and_a_tie_is_said_once(self):
        drawn = draw_line(5, Evidence(ties=0))
        wrong = edits.tie_mark(
            drawn.job, "line-1", "bar-1", Tie(depth_mm=1.5 * drawn.covers_mm[0], plus_minus_mm=1.0)
        )
        said = [w for w in evaluate(wrong).warnings if "disagree" in w]
        assert len(said) == 1
        assert said[0].startswith("Curvature and known depths disagree by ")
        right = edits.tie_mark(
            drawn.job, "line-1", "bar-1", Tie(depth_mm=drawn.covers_mm[0], plus_minus_mm=1.0)
        )
        assert not [w for w in evaluate(right).warnings if "disagree" in w]


class TestCurvature:
    def test_speaks_before_any_tie(self):
        drawn = draw_line(7, Evidence(ties=0))
        results = evaluate(drawn.job)
        assert not results.provisional
        off = math.log(results.permittivity / drawn.permittivity)
        assert abs(off) < 2 * results.permittivity_u / results.permittivity
        assert results.permittivity_u / results.permittivity < 0.12
        assert row(results, "curvature").label == "Curvature of 6 bars"
        assert results.curved == {("line-1", f"bar-{n}") for n in range(1, 7)}

    def test_can_be_switched_off(self):
        job = edits.change_zone(draw_line(7, Evidence(ties=0)).job, "zone-1", curvature=False)
        results = evaluate(job)
        assert results.provisional
        assert not results.curved
        assert not [r for r in results.evidence if r.kind == "curvature"]

    def test_needs_a_crest_of_its_own(self):
        """A neighbour's hyperbola, or the direct wave, too near: the crest does not count."""
        job = draw_line(7, Evidence(ties=0), bars=2).job
        assert len(evaluate(job).curved) == 2
        first = job.line("line-1").mark("bar-1")
        near = Pick(first.position_mm + 60.0, 1.0, first.time_ns, crest=first.crest)
        crowded, _ = edits.add_bar(job, "line-1", near)
        assert ("line-1", "bar-1") not in evaluate(crowded).curved
        freed = edits.change_mark(crowded, "line-1", "bar-1", crest_alone=True)
        assert ("line-1", "bar-1") in evaluate(freed).curved
        early = edits.change_mark(job, "line-1", "bar-1", time_ns=2.3)
        assert ("line-1", "bar-1") not in evaluate(early).curved

    def test_of_an_oblique_crossing_is_read_with_its_angle(self):
        """Seen at 60 degrees the crest is flatter by sin^2: entered, the permittivity comes back."""
        drawn = draw_line(7, Evidence(ties=0))
        oblique = drawn.job
        for mark in drawn.job.line("line-1").marks:
            if mark.kind != "bar":
                continue
            spread = tuple(
                (mark.position_mm + (x - mark.position_mm) / math.sin(math.radians(60)), t)
                for x, t in mark.crest
            )
            oblique = edits.change_mark(oblique, "line-1", mark.id, crest=spread)
        square = evaluate(drawn.job).permittivity
        assert evaluate(oblique).permittivity < 0.9 * square
        told = oblique
        for mark in drawn.job.line("line-1").marks:
            if mark.kind == "bar":
                told = edits.change_mark(told, "line-1", mark.id, crossing_deg=60.0)
        assert evaluate(told).permittivity == pytest.approx(square, rel=0.02)


def test_lines_of_one_zone_may_differ_a_little(known_job):
    """One line tied: the other follows, less surely by what concrete differs along a member."""
    results = evaluate(tied(known_job(lines=2)))
    own, other = (results.lines[line].faces[0].median for line in ("line-1", "line-2"))
    assert other.value_mm == pytest.approx(own.value_mm, abs=1e-6)
    assert other.u_mm > own.u_mm


def test_an_unknown_separation_is_in_the_intervals(known_job):
    told = tied(known_job())
    assumed = edits.change_antenna(told, "antenna-1", separation_known=False)
    assert thickness(evaluate(assumed)).u_mm > thickness(evaluate(told)).u_mm
    assert any("separation of 40" in w for w in evaluate(assumed).warnings)


def test_an_impossible_tie_is_refused_and_says_what_to_check(known_job):
    with pytest.raises(DepthwrightError, match="faster than in air") as told:
        evaluate(tied(known_job(), depth=400.0))
    assert "the bar or face it belongs to" in str(told.value)


def test_another_medium_is_not_judged_as_concrete(known_job):
    job = edits.change_zone(
        known_job(), "zone-1", permittivity=25.0, permittivity_u=5.0, typed=True
    )
    assert any("unusual for concrete" in w for w in evaluate(job).warnings)
    soil = edits.change_zone(job, "zone-1", medium="other")
    assert not any("unusual" in w for w in evaluate(soil).warnings)


class TestOutlook:
    def test_now_is_what_the_face_shows(self, known_job):
        results = evaluate(tied(known_job()))
        now = next(r for r in results.outlook.rows if r.now)
        assert results.outlook.deep_label == "the back face"
        assert now.expanded_mm == pytest.approx(thickness(results).expanded_mm, rel=1e-6)

    def test_a_promised_reading_keeps_its_promise(self, known_job):
        """The hole it recommends, entered, brings the interval it announced."""
        before = evaluate(tied(known_job()))
        hole = next(r for r in before.outlook.rows if "hole or core" in r.what)
        tie = Tie(depth_mm=160.0, plus_minus_mm=1.0, origin="drilled hole or core")
        job = edits.change_anchor(tied(known_job()), "line-1", "face-1", 0, tie=tie)
        assert thickness(evaluate(job)).expanded_mm == pytest.approx(hole.expanded_mm, rel=0.03)

    def test_each_line_has_its_own(self, known_job, file_ns):
        job = known_job(lines=2)
        for index in range(3):
            job = edits.change_anchor(job, "line-2", "face-2", index, time_ns=file_ns(220.0))
        results = evaluate(tied(job))
        deep = [results.outlooks[line].deep.value_mm for line in ("line-1", "line-2")]
        assert deep == pytest.approx([160.0, 220.0], abs=0.5)


@pytest.mark.parametrize("place", range(3))
def test_the_budget_of_a_mark_adds_up_to_its_interval(known_job, place):
    results = evaluate(tied(known_job()))
    spots = [("line-1", "bar-2", 0), ("line-1", "bar-1", 0), ("line-1", "face-1", 1)]
    depths = [
        results.lines["line-1"].bars[1].cover,
        results.lines["line-1"].bars[0].cover,
        results.lines["line-1"].faces[0].anchors[1].depth,
    ]
    shares = results.budget_of(*spots[place])
    total = math.sqrt(sum(share.u_mm**2 for share in shares))
    assert total == pytest.approx(depths[place].u_mm, rel=1e-6)
    together = {share.source: share.u_mm for share in results.budgets(spots)[place]}
    assert together == pytest.approx({share.source: share.u_mm for share in shares})
