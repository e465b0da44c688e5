"""A pick stage with a stretch at hand answers as the plain one does."""

import numpy as np

from depthwright.measuring.picking import snap_bar
from depthwright.measuring.stage import kept


def test_kept_envelopes_are_those_of_the_line(plain_stage):
    near = kept(plain_stage, 30, 90)
    np.testing.assert_allclose(near.envelope(40, 60), plain_stage.envelope(40, 60), atol=1e-5)
    assert near.noise == plain_stage.noise


def test_what_is_not_at_hand_is_read(plain_stage):
    near = kept(plain_stage, 30, 90)
    np.testing.assert_array_equal(near.envelope(10, 50), plain_stage.envelope(10, 50))


def test_a_click_gives_the_same_pick(plain_stage, plain_line):
    position_mm, cover_mm = plain_line.bars[1]
    near = kept(plain_stage, 20, 120)
    here = snap_bar(near, position_mm, plain_line.echo_ns(cover_mm))
    there = snap_bar(plain_stage, position_mm, plain_line.echo_ns(cover_mm))
    assert here is not None
    assert there is not None
    np.testing.assert_allclose(
        [here.position_mm, here.time_ns], [there.position_mm, there.time_ns], atol=1e-4
    )
