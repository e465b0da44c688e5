"""A line marked by itself: taken in, proposed, tied, evaluated. Truth is that of the sample data."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.antenna_card import read_card
from depthwright.files.readers import open_file
from depthwright.finding import propose
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal, Proposals
from depthwright.intake import CUT_OFF
from depthwright.job import BarMark, FaceMark, Given, Tie
from depthwright.marking import chain
from depthwright.marking.chain import mark_line
from depthwright.marking.gather import gathered
from depthwright.marking.request import Quantity, Request, TieAt
from depthwright.measuring.picking import Pick, snap_bar, snap_face, with_crest
from depthwright.results.words import CAUTIONS
from depthwright.scan import scan_from_array

SAMPLES = Path(__file__).parents[2] / "sample_data"
TRUTH = json.loads((SAMPLES / "truth.json").read_text("utf-8"))["lines"]["deck-L1"]
HOLE = Tie(depth_mm=162.5, plus_minus_mm=1.0, origin="drilled hole or core")


def reading(depth_mm, u_mm=1.0):
    return Tie(depth_mm=depth_mm, plus_minus_mm=u_mm)


def bars_of(marked):
    return [mark for mark in marked.line.marks if isinstance(mark, BarMark)]


@pytest.fixture(scope="module")
def scan():
    return open_file(SAMPLES / "deck-L1.sgy").check()


@pytest.fixture(scope="module")
def tied(scan):
    """Only what ties point at: a bar, and the back face."""
    ties = (TieAt("bar", 270.0, reading(35.0)), TieAt("face", 500.0, HOLE))
    return mark_line(scan, Request(ties=ties, propose=False))


@pytest.fixture
def proposing(monkeypatch):
    """Puts proposals in the place of those that would be found: true bars and a back face, by score."""

    def use(*bars, face=()):
        def propose_these(job, line, stage, report=None):
            found = tuple(
                BarProposal(with_crest(stage, snap_bar(stage, mm, ns)), score, "")
                for mm, ns, score in bars
            )
            anchors = tuple(snap_face(stage, mm, 3.85) for mm in face)
            shown = FaceProposal(anchors, 0.9, "") if anchors else None
            return Proposals(found, shown, ("What was not found.",))

        monkeypatch.setattr(chain, "propose", propose_these)

    return use


def test_without_proposals_only_what_ties_point_at_is_marked(tied):
    assert [mark.kind for mark in tied.line.marks] == ["bar", "face"]
    (bar,) = bars_of(tied)
    assert bar.position_mm == pytest.approx(260.0, abs=6.0)
    assert len(bar.crest) > 5
    assert tied.scores == {}


def test_a_tied_depth_is_what_the_tie_and_the_rest_say_together(tied):
    rows = tied.results.lines[tied.line_id]
    assert rows.bars[0].cover.value_mm == pytest.approx(35.0, abs=1.0)
    assert 0 < rows.bars[0].cover.u_mm <= 1.0
    (anchor,) = rows.faces[0].anchors
    assert anchor.depth.value_mm == pytest.approx(162.5, abs=1.0)
    assert 0 < anchor.depth.u_mm <= 1.0
    assert {row.kind for row in tied.results.evidence if row.used} >= {"tie", "curvature"}
    assert tied.results.permittivity == pytest.approx(TRUTH["permittivity"], rel=0.08)


def test_the_messages_say_what_the_depths_rest_on_and_end_with_the_cautions(tied, scan):
    assert tied.messages[0].startswith("Depths rest on cover meter 35.0")
    assert tied.messages[-len(CAUTIONS) :] == CAUTIONS
    assert set(scan.findings) <= set(tied.messages)
    assert CUT_OFF not in tied.messages


def test_samples_that_are_cut_off_are_told(scan):
    samples = scan.block(0, scan.traces)
    level = 0.5 * np.abs(samples).max()
    cut = scan_from_array(np.clip(samples, -level, level), scan.dt_ns, scan.trace_spacing_mm)
    assert CUT_OFF in mark_line(cut, Request(propose=False)).messages


def test_the_line_knows_its_hash_and_keeps_the_files_own_positions(tied, scan):
    line = tied.line
    assert line.scan.sha256 == scan.sha256 != ""
    assert line.on_concrete_mm(123.0) == 123.0


def test_a_line_whose_positions_fall_keeps_them_too():
    plain = open_file(SAMPLES / "deck-L1.sgy")
    samples = plain.block(0, plain.traces)
    falling = replace(
        scan_from_array(samples, plain.dt_ns), positions_mm=1200.0 - plain.positions_mm
    )
    tie = TieAt("bar", 940.0, reading(35.0))
    marked = mark_line(falling, Request(ties=(tie,), propose=False))
    (row,) = marked.results.lines[marked.line_id].bars
    assert row.position.value_mm == pytest.approx(940.0, abs=6.0)


def test_proposals_are_accepted_from_the_score_on_from_which_they_are_shown(scan, proposing):
    proposing((90, 1.4, 0.9), (260, 1.45, SHOWN_SCORE), (425, 1.55, SHOWN_SCORE - 0.01))
    marked = mark_line(scan, Request(bar_diameter_mm=16.0))
    bars = bars_of(marked)
    assert [round(bar.position_mm, -1) for bar in bars] == [90, 260]
    assert [marked.scores[bar.id] for bar in bars] == [0.9, SHOWN_SCORE]
    assert [bar.diameter_mm for bar in bars] == [16.0, 16.0]
    assert "What was not found." in marked.messages


def test_a_tie_takes_a_proposal_that_would_not_be_shown_by_itself(scan, proposing):
    proposing((90, 1.4, 0.9), (260, 1.45, 0.2), (425, 1.55, 0.3))
    marked = mark_line(scan, Request(ties=(TieAt("bar", 250.0, reading(35.0)),)))
    bars = bars_of(marked)
    assert [(bar.number, round(bar.position_mm, -1)) for bar in bars] == [(1, 90), (2, 260)]
    assert bars[1].tie == reading(35.0)
    assert marked.scores[bars[1].id] == 0.2


def test_of_two_echoes_at_one_place_a_tie_means_the_one_of_its_depth(scan, proposing):
    proposing((260, 1.45, 0.9), (262, 3.8, 0.9))
    at = TieAt("bar", 265.0, reading(35.0))
    tied_ns = [
        bar.time_ns for bar in bars_of(mark_line(scan, Request(ties=(at,)))) if bar.tie is not None
    ]
    assert tied_ns == [pytest.approx(1.4, abs=0.2)]


@pytest.mark.parametrize("deep_score", [0.3, 0.9])
def test_an_unsure_echo_of_the_ties_depth_comes_before_another_that_is_not(
    scan, proposing, deep_score
):
    proposing((90, 1.4, 0.9), (260, 1.45, 0.2), (262, 3.8, deep_score))
    marked = mark_line(scan, Request(ties=(TieAt("bar", 265.0, reading(35.0)),)))
    (tied,) = (bar for bar in bars_of(marked) if bar.tie is not None)
    assert tied.time_ns == pytest.approx(1.4, abs=0.2)
    assert marked.scores[tied.id] == 0.2


def test_a_tie_on_the_back_face_becomes_an_anchor_of_the_proposed_one(scan, proposing):
    proposing((260, 1.45, 0.9), face=(180, 510, 1020))
    marked = mark_line(scan, Request(ties=(TieAt("face", 700.0, HOLE),)))
    (face,) = (mark for mark in marked.line.marks if isinstance(mark, FaceMark))
    assert [anchor.position_mm for anchor in face.anchors] == [180.0, 510.0, 700.0, 1020.0]
    assert [anchor.tie for anchor in face.anchors] == [None, None, HOLE, None]
    profile = marked.results.lines[marked.line_id].faces[0]
    assert len(profile.depth_mm) > 100
    assert np.median(np.abs(profile.depth_mm - 163.0)) < 6.0


def test_a_proposed_echo_from_before_the_concrete_is_left_out(scan, proposing, monkeypatch):
    def too_early(job, line, stage, report=None):
        early = Pick(600.0, 2.0, stage.direct.time_ns - 0.4)
        bar = with_crest(stage, snap_bar(stage, 260, 1.45))
        return Proposals((BarProposal(bar, 0.9, ""), BarProposal(early, 0.9, "")))

    monkeypatch.setattr(chain, "propose", too_early)
    marked = mark_line(scan, Request())
    assert [round(bar.position_mm, -1) for bar in bars_of(marked)] == [260]
    assert any(said.startswith("What was found at 600 mm comes before") for said in marked.messages)
    assert len(marked.scores) == 1


@pytest.mark.parametrize(
    ("ties", "words"),
    [
        ((TieAt("bar", 180.0, reading(35.0)),), r"within 30 mm of 180 mm, where the tie bar@180mm"),
        ((TieAt("bar", 1500.0, reading(35.0)),), "The line runs from 0 to 1200 mm"),
        ((TieAt("face", 500.0, reading(250.0)),), "shows no echo at 500 mm"),
        ((TieAt("face", 1500.0, HOLE),), "The line runs from 0 to 1200 mm"),
        ((TieAt("bar", 255.0, reading(35.0)), TieAt("bar", 265.0, reading(35.0))), "Two ties mean"),
        ((TieAt("face", 500.0, HOLE), TieAt("face", 501.0, HOLE)), "Two ties mean"),
        ((TieAt("bar", 260.0, reading(300.0)),), "."),
    ],
)
def test_a_tie_where_nothing_is_fails_the_line_with_a_sentence(scan, ties, words):
    with pytest.raises(DepthwrightError, match=words) as refused:
        mark_line(scan, Request(ties=ties, propose=False))
    assert refused.value.hint


def test_with_proposals_a_tie_where_none_is_fails_the_line(scan, proposing):
    proposing((90, 1.4, 0.9))
    with pytest.raises(DepthwrightError, match="No bar was proposed within 30 mm of 260 mm"):
        mark_line(scan, Request(ties=(TieAt("bar", 260.0, reading(35.0)),)))


def test_what_is_given_of_the_antenna_comes_before_the_card_and_the_card_before_the_file(scan):
    card = read_card(SAMPLES / "antenna_card.json", "antenna-1")
    assert card.direct_shift == "measured"
    by_card = mark_line(scan, Request(card=card, propose=False))
    assert by_card.job.antennas[0].model_copy(update={"id": "antenna-1"}) == card
    request = Request(
        card=card,
        separation_mm=Quantity(50.0, 2.0),
        time_offset_ns=Quantity(0.012, 0.020),
        propose=False,
    )
    (antenna,) = mark_line(scan, request).job.antennas
    assert (antenna.separation_mm, antenna.separation_u_mm) == (50.0, 2.0)
    assert antenna.separation_known
    assert antenna.direct_shift == "computed"
    assert (antenna.time_offset_ns, antenna.time_offset_u_ns) == (0.012, 0.020)
    assert (antenna.height_mm, antenna.centre_frequency_ghz) == (2.5, 1.83)
    assert antenna.source == f"{card.source}; given instead: separation, time offset"


def test_what_is_given_comes_before_what_is_assumed(scan):
    request = Request(height_mm=Quantity(5.0, 1.0), propose=False)
    (antenna,) = mark_line(scan, request).job.antennas
    assert (antenna.height_mm, antenna.height_u_mm, antenna.separation_mm) == (5.0, 1.0, 40.0)


def test_near_the_frequency_given_that_of_the_pulse_counts(scan):
    plain = mark_line(scan, Request(propose=False))
    marked = mark_line(scan, Request(centre_frequency_ghz=2.1, propose=False))
    assert marked.job.antennas[0].centre_frequency_ghz == plain.job.antennas[0].centre_frequency_ghz
    assert any("near the 2.1 GHz given" in said for said in marked.messages)


def test_a_frequency_given_far_from_the_pulse_counts_and_is_doubted(scan):
    marked = mark_line(scan, Request(centre_frequency_ghz=1.2, propose=False))
    assert marked.job.antennas[0].centre_frequency_ghz == 1.2
    assert marked.stage.direct.centre_frequency_ghz == 1.2
    assert any("far from the 1.2 GHz given" in said for said in marked.messages)


def test_a_permittivity_given_is_kept_beside_the_ties(scan):
    ties = (TieAt("bar", 260.0, reading(35.0)),)
    request = Request(permittivity=Quantity(8.1, 0.1), ties=ties, propose=False)
    marked = mark_line(scan, request)
    zone = marked.job.zones[0]
    assert (zone.permittivity, zone.permittivity_u, zone.typed, zone.keep) == (8.1, 0.1, True, True)
    assert zone.curvature
    assert marked.results.permittivity_u < 0.1
    assert "typed" in [row.kind for row in marked.results.evidence if row.used]


def test_a_trace_spacing_with_an_uncertainty_is_that_of_the_distance_scale(scan):
    given = Given(trace_spacing_mm=5.0)
    marked = mark_line(scan, Request(given=given, trace_spacing_share_u=0.002, propose=False))
    assert marked.line.distance_scale_u == 0.002
    assert marked.line.scan.given == given


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.zeros((20, 100)), "nothing but zeros"),
        (np.full((20, 100), np.nan), "nothing but zeros"),
        (np.full((20, 100), 1e30), "no radar records"),
        (np.ones((20, 100)), "no pulse"),
    ],
)
def test_a_scan_that_holds_nothing_is_told_apart(samples, words):
    with pytest.raises(DepthwrightError, match=words):
        mark_line(scan_from_array(samples, 0.02), Request())


def test_a_single_trace_is_a_line_without_marks(scan):
    one = scan_from_array(scan.block(0, 1), scan.dt_ns)
    assert mark_line(one, Request()).line.marks == ()


def test_lines_marked_one_by_one_go_into_one_job(tied, scan):
    other = mark_line(scan, Request(ties=(TieAt("bar", 90.0, reading(31.0)),), propose=False))
    far = mark_line(scan, Request(separation_mm=Quantity(60.0, 1.0), propose=False))
    parts = [(marked.job, dict(marked.tracks)) for marked in (tied, other, far)]
    job, tracks = gathered(parts, "deck")
    assert job.name == "deck"
    assert [line.name for line in job.lines] == ["deck-L1", "deck-L1 (2)", "deck-L1 (3)"]
    assert [line.antenna for line in job.lines] == ["antenna-1", "antenna-1", "antenna-2"]
    assert [[mark.id for mark in line.marks] for line in job.lines] == [
        ["bar-1", "face-1"],
        ["bar-2"],
        [],
    ]
    assert list(tracks) == ["face-1"]
    assert job.lines[0].marks[0].tie == reading(35.0)
    assert job.zones == tied.job.zones


def test_the_search_itself_is_that_of_the_window():
    assert chain.propose is propose.propose
