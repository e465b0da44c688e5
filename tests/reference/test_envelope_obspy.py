"""The envelope against an independent library: ObsPy's ``obspy.signal.filter.envelope`` (seismology)."""

import warnings

import numpy as np
import pytest

from depthwright.files.segy import read_segy
from depthwright.processing.envelope import envelope, refine_peak
from depthwright_app.demo import sample_folder

with warnings.catch_warnings():
    # ObsPy's own imports use an interface that setuptools is about to retire.
    warnings.simplefilter("ignore")
    from obspy.signal.filter import envelope as independent_envelope


@pytest.mark.parametrize("trace", [0, 52, 120, 240])
def test_envelopes_of_the_sample_line_agree(trace):
    samples = read_segy(sample_folder() / "deck-L1.sgy").block(trace, trace + 1)
    expected = independent_envelope(samples[0].astype(np.float64))
    assert envelope(samples)[0] == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize("samples", [2, 3, 64, 255, 512, 513])
def test_envelopes_of_any_length_agree(samples):
    traces = np.random.default_rng(samples).standard_normal((5, samples)).astype(np.float32)
    expected = [independent_envelope(trace.astype(np.float64)) for trace in traces]
    assert envelope(traces) == pytest.approx(np.array(expected), abs=2e-6)


@pytest.mark.parametrize("frequency_ghz", [1.0, 1.6, 2.6])
@pytest.mark.parametrize("quarter_turns", [0.0, 0.5, 1.0])
def test_peak_times_agree_with_the_independent_envelope_on_a_fine_grid(
    frequency_ghz, quarter_turns
):
    """At 20 ps a sample, within 1 ps, also where a turned phase puts the samples' peak elsewhere."""
    fine_ns = np.arange(0.0, 10.24, 0.02 / 64)
    argument = (np.pi * frequency_ghz * (fine_ns - 5.0068)) ** 2
    spectrum = np.fft.rfft((1 - 2 * argument) * np.exp(-argument))
    turned = np.fft.irfft(spectrum * np.exp(0.5j * np.pi * quarter_turns), n=len(fine_ns))
    expected_ns = fine_ns[np.argmax(independent_envelope(turned))]
    ours = envelope(turned[None, ::64].astype(np.float32))
    found_ns = refine_peak(ours, ours.argmax(axis=1))[0] * 0.02
    assert found_ns == pytest.approx(expected_ns, abs=0.001)
