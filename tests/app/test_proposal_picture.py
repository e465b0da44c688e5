"""How proposals are drawn, as plain values: compared with their crests and the depth model."""

import numpy as np
import pytest

from depthwright.edits import change_line
from depthwright.finding.proposal import BarProposal, FaceProposal
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.picking import Pick
from depthwright.results.evaluate import evaluate
from depthwright_app.picture import Run
from depthwright_app.proposal_picture import (
    ARC_HALF_MM,
    ProposalPicture,
    bar_glyphs,
    counted,
    current_words,
    face_glyph,
)

SCAN = ScanRef(path="a.sgy", size_bytes=1, sha256="0", traces=300, samples=400, dt_ns=0.02)
LINE = Line(
    id="line-1", name="L1", scan=SCAN, zone="zone-1", antenna="a", direct=DirectPick(time_ns=1.0)
)
JOB = Job(antennas=(Antenna(id="a", centre_frequency_ghz=2.0),), lines=(LINE,))
MODEL = evaluate(JOB).lines["line-1"].model


def time_ns(offset_mm):
    """A hyperbola with its apex at 1.5 ns."""
    return 1.0 + float(np.hypot(0.5, offset_mm / 106))


def bar(position_mm, reach_mm=100, score=0.9):
    offsets = np.arange(-reach_mm, reach_mm + 1, 20.0) if reach_mm else []
    crest = tuple((position_mm + offset, time_ns(offset)) for offset in offsets)
    return BarProposal(Pick(position_mm, 2.0, 1.5, False, crest), score, "clear hyperbola")


def face(*places):
    nan = float("nan")
    return FaceProposal(tuple(Pick(at, nan, time) for at, time in places), 0.8, "goes along")


def test_an_arc_is_a_short_piece_of_the_picked_crest_about_the_apex():
    (glyph,) = bar_glyphs(LINE, MODEL, [bar(400.0)])
    arc = glyph.arc.places
    assert (glyph.position_mm, glyph.time_ns) == (400.0, 1.5)
    assert arc[[0, -1], 0].tolist() == [400 - ARC_HALF_MM, 400 + ARC_HALF_MM]
    assert arc[len(arc) // 2].tolist() == pytest.approx([400.0, 1.5])
    wanted = [time_ns(at - 400.0) for at in arc[:, 0]]
    assert arc[:, 1] == pytest.approx(wanted, abs=0.02)  # straight between the crest's points


def test_an_arc_ends_where_the_crest_does():
    (glyph,) = bar_glyphs(LINE, MODEL, [bar(400.0, reach_mm=40)])
    assert glyph.arc.places[[0, -1], 0].tolist() == [360.0, 440.0]


def test_without_a_crest_it_is_the_upper_half_of_a_bar_whose_top_is_at_the_pick():
    (glyph,) = bar_glyphs(LINE, MODEL, [bar(400.0, reach_mm=0)])
    arc = glyph.arc.places
    assert arc[np.argmin(arc[:, 1])].tolist() == pytest.approx([400.0, 1.5])
    assert np.ptp(arc[:, 0]) == pytest.approx(12.0)  # the usual diameter
    depth, _ = MODEL.depths(arc[:, 1], np.full(len(arc), 1e-3), bar=1.0)
    assert depth.max() - depth.min() == pytest.approx(6.0, abs=0.3)


def test_bars_are_in_the_order_of_their_distances_on_a_turned_line_too():
    bars = [bar(400.0), bar(900.0), bar(150.0)]
    assert [glyph.position_mm for glyph in bar_glyphs(LINE, MODEL, bars)] == [150, 400, 900]
    turned = change_line(JOB, "line-1", turned_mm=1200.0, start_mm=50.0).line("line-1")
    glyphs = bar_glyphs(turned, MODEL, bars)
    assert [glyph.proposal for glyph in glyphs] == [bars[1], bars[0], bars[2]]
    assert [glyph.position_mm for glyph in glyphs] == [350, 850, 1100]
    arc = glyphs[0].arc.places
    assert arc[len(arc) // 2].tolist() == pytest.approx([350.0, 1.5])
    assert bar_glyphs(LINE, MODEL, []) == ()


def test_a_back_face_goes_through_its_anchors_from_the_datum_on():
    turned = change_line(JOB, "line-1", turned_mm=1200.0).line("line-1")
    glyph = face_glyph(turned, face((100.0, 4.0), (500.0, 4.2)))
    assert glyph.anchors == Run(np.array([[700.0, 4.2], [1100.0, 4.0]]))


def test_equal_pictures_are_equal_and_others_are_not():
    bars = bar_glyphs(LINE, MODEL, [bar(400.0)])
    assert ProposalPicture(bars) == ProposalPicture(bar_glyphs(LINE, MODEL, [bar(400.0)]))
    assert ProposalPicture(bars) != ProposalPicture(bars, current=bars[0].proposal)


def test_what_there_is_is_counted_by_kind():
    below = face((100.0, 4.0))
    assert counted([bar(1.0), bar(2.0), below]) == "2 bars and the back face"
    assert counted([bar(1.0)]) == "1 bar"
    assert counted([below]) == "the back face"


def test_words_on_a_pick_whose_position_nothing_placed_have_no_interval_of_nan():
    unplaced = BarProposal(Pick(400.0, float("nan"), 1.5), 0.4, "no crest")
    assert "nan" not in current_words(LINE, "mm", unplaced)
