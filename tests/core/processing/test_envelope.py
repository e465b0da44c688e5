"""The envelope against ``scipy.signal.hilbert``, and its peaks."""

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.testing import assert_allclose

from depthwright.processing.envelope import envelope, peak_shift, refine_peak


def pulse(centre_ns: float, samples: int = 256, dt_ns: float = 0.02) -> np.ndarray:
    phase = (np.pi * 2.0 * (np.arange(samples) * dt_ns - centre_ns)) ** 2
    return ((1 - 2 * phase) * np.exp(-phase)).astype(np.float32)[None, :]


def by_scipy(block: np.ndarray) -> np.ndarray:
    return np.abs(scipy.signal.hilbert(block.astype(np.float64), axis=-1))


@settings(max_examples=50, derandomize=True, deadline=None)
@given(
    hnp.arrays(
        np.float32,
        st.tuples(st.integers(1, 4), st.integers(4, 65)),
        elements=st.floats(-1e3, 1e3, width=32),
    )
)
def test_envelope_is_the_magnitude_of_scipys_analytic_signal(block):
    within = 2e-5 * max(1.0, float(np.abs(block).max()))
    assert np.abs(envelope(block) - by_scipy(block)).max() <= within


@pytest.mark.parametrize("samples", [1, 2, 3, 511, 512, 521, 1009, 2 * 509, 1024])
def test_lengths_odd_even_and_prime_are_exact(samples):
    block = np.random.default_rng(samples).standard_normal((3, samples)).astype(np.float32) + 5.0
    assert_allclose(envelope(block), by_scipy(block), rtol=0, atol=1e-5)


@pytest.mark.parametrize("threads", [1, 2, 3])
def test_threads_and_pieces_do_not_change_a_thing(threads):
    block = np.random.default_rng(0).standard_normal((700, 129)).astype(np.float32)
    one_by_one = np.concatenate([envelope(trace[None]) for trace in block])
    assert np.array_equal(envelope(block, threads), one_by_one)
    assert envelope(block, threads).dtype == np.float32


def test_double_precision_stays_so():
    block = np.random.default_rng(1).standard_normal((2, 333))
    assert envelope(block).dtype == np.float64
    assert envelope(block) == pytest.approx(by_scipy(block), rel=1e-12)


def test_views_with_gaps_are_read_and_left_alone():
    whole = np.random.default_rng(2).standard_normal((9, 64)).astype(np.float32)
    before = whole.copy()
    assert_allclose(envelope(whole[::2, ::-1]), by_scipy(whole[::2, ::-1]), rtol=0, atol=1e-5)
    assert np.array_equal(whole, before)


def test_no_traces_have_no_envelope():
    assert envelope(np.zeros((0, 64), np.float32)).shape == (0, 64)


@pytest.mark.parametrize("centre_ns", [2.5, 2.504, 2.509, 2.511])
def test_peaks_are_placed_below_a_sample(centre_ns):
    around = envelope(pulse(centre_ns))
    found = refine_peak(around, around.argmax(axis=1))[0] * 0.02
    assert found == pytest.approx(centre_ns, abs=0.001)


@pytest.mark.parametrize("centre_ns", [2.5, 2.503, 2.507, 2.51])
def test_the_peak_of_a_gaussian_is_placed_to_1_ps(centre_ns):
    gauss = np.exp(-(((np.arange(256) * 0.02 - centre_ns) / 0.15) ** 2))[None, :]
    found = refine_peak(gauss, gauss.argmax(axis=1))[0] * 0.02
    assert found == pytest.approx(centre_ns, abs=0.001)


def test_a_peak_on_the_edge_stays_there():
    assert refine_peak(np.array([[3.0, 2.0, 1.0]]), np.array([0]))[0] == 0


def test_one_peak_is_read_as_many_are():
    values = np.random.default_rng(8).uniform(0.0, 1.0, (40, 3))
    many = refine_peak(values, np.ones(40, dtype=np.intp)) - 1
    one = [peak_shift(*row.tolist()) for row in values]
    assert_allclose(one, many, rtol=0, atol=1e-12)
