"""Labels above the section: every one near its mark, none over another."""

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from scipy.optimize import LinearConstraint, minimize

from depthwright.exports.band import Label, arrange, spread

LEFT, RIGHT = 24.0, 273.0
PLACES = st.lists(st.floats(LEFT, RIGHT), min_size=1, max_size=20).map(sorted)


def labels(places: list[float], pill: str = "") -> list[Label]:
    return [Label(f"bar-{i}", at, str(i), "24 ± 2", pill) for i, at in enumerate(places, start=1)]


@settings(max_examples=80, deadline=None)
@given(places=PLACES)
def test_boxes_keep_order_ends_and_distance(places: list[float]) -> None:
    widths = np.full(len(places), 11.0)
    centres = spread(np.array(places), widths, 1.0, LEFT, RIGHT)
    assert (np.diff(centres) >= 12.0 - 1e-9).all()
    assert centres[0] >= LEFT + 5.5 - 1e-9
    assert centres[-1] <= RIGHT - 5.5 + 1e-9


def test_boxes_with_room_stay_where_they_are() -> None:
    at = np.array([40.0, 80.0, 200.0])
    np.testing.assert_allclose(spread(at, np.full(3, 10.0), 1.0, LEFT, RIGHT), at)


def test_boxes_move_no_farther_than_a_general_optimiser_moves_them() -> None:
    rng = np.random.default_rng(3)
    at = np.sort(rng.uniform(LEFT + 20, RIGHT - 20, 8))
    widths = rng.uniform(8, 30, 8)
    apart = (widths[1:] + widths[:-1]) / 2
    steps = np.eye(8)[1:] - np.eye(8)[:-1]
    best = minimize(
        lambda c: ((c - at) ** 2).sum(), at, jac=lambda c: 2 * (c - at), method="SLSQP",
        constraints=LinearConstraint(steps, apart, np.inf), options={"ftol": 1e-12},
    )  # fmt: skip
    np.testing.assert_allclose(spread(at, widths, 0.0, -1e3, 1e3), best.x, atol=1e-4)


def test_a_dozen_labels_stand_level() -> None:
    band = arrange(labels(np.linspace(30, 260, 12).tolist()), LEFT, RIGHT)
    assert not band.turned
    assert band.step == 1


def test_forty_labels_are_turned_and_all_there() -> None:
    band = arrange(labels(np.linspace(30, 260, 40).tolist()), LEFT, RIGHT)
    assert band.turned
    assert (len(band.labels), band.step) == (40, 1)


def test_labels_crowded_on_one_spot_are_turned() -> None:
    assert arrange(labels([30.0 + i for i in range(10)]), LEFT, RIGHT).turned


def test_of_too_many_labels_every_other_is_kept() -> None:
    band = arrange(labels(np.linspace(30, 260, 150).tolist()), LEFT, RIGHT)
    assert band.step == 2
    assert [label.number for label in band.labels[:3]] == ["1", "3", "5"]


def test_a_known_depth_makes_the_band_higher() -> None:
    plain = arrange(labels([50.0]), LEFT, RIGHT)
    tied = arrange(labels([50.0], pill="tie 24"), LEFT, RIGHT)
    assert tied.height_mm > plain.height_mm


@pytest.mark.parametrize("provisional", [False, True])
def test_provisional_values_are_in_italics(provisional: bool) -> None:
    assert (
        Label("bar-1", 0, "1", "24 ± 2", provisional=provisional).value_type.italic is provisional
    )
