"""The envelope against an independent library: ObsPy's ``obspy.signal.filter.envelope`` (seismology)."""

import warnings

import numpy as np
import pytest

from depthwright.files.segy import read_segy
from depthwright.processing.envelope import envelope
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
