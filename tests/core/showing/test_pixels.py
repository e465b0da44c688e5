"""From columns of samples to the pixels of a picture."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright.showing.pixels import between, turned


@given(st.integers(1, 70), st.integers(1, 70))
def test_turning_is_the_transpose(rows, columns):
    across = np.random.default_rng(rows).standard_normal((rows, columns)).astype(np.float32)
    assert np.array_equal(turned(across), across.T)


@given(st.integers(1, 40), st.lists(st.floats(-3, 45), min_size=1, max_size=20))
def test_between_rows_is_numpys_interpolation(rows, places):
    values = np.random.default_rng(rows).standard_normal((rows, 3)).astype(np.float32)
    found = between(values, np.array(places))
    for column in range(3):
        expected = np.interp(places, np.arange(rows), values[:, column])
        assert found[:, column] == pytest.approx(expected, abs=1e-5)
