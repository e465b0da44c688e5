"""What a stated sample interval can mean, whatever number a file has in its place."""

import numpy as np
import pytest

from depthwright.files.facts import FileFacts, Stated
from depthwright.files.interval_readings import interval_readings

TRACES = np.tile(np.sin(0.3 * np.arange(200) * np.exp(-0.01 * np.arange(200))), (10, 1))


def readings(value):
    facts = FileFacts(rows=(), needs=(), intervals=(Stated("bytes 3217", value),), samples=200)
    return interval_readings(facts, TRACES.astype(np.float32), None)


def test_a_usual_number_is_read_in_each_unit():
    assert [reading.dt_ns for reading in readings(25.0)] == pytest.approx([0.025, 25.0, 25e3])


@pytest.mark.parametrize("value", [0.0, -1.0, 5e-324, 1e-310, 1e308, np.inf, np.nan])
def test_a_number_that_is_no_interval_stands_for_none(value):
    assert readings(value) == readings(0.0)
    assert all(np.isfinite(reading.pulse_ghz) for reading in readings(value))
