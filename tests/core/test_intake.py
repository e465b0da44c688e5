"""From a scan to a line of the job."""

import dataclasses

import numpy as np
import pytest

from depthwright.depth import priors
from depthwright.errors import DepthwrightError
from depthwright.intake import take_in
from depthwright.job import Antenna, Job
from depthwright.scan import scan_from_array


@pytest.fixture(scope="module")
def scan(plain_line):
    return plain_line.scan


def test_a_scan_becomes_a_line_with_its_direct_wave_and_an_antenna(scan):
    job, line_id = take_in(Job(), scan)
    line = job.line(line_id)
    assert line.direct.time_ns == pytest.approx(1.0, abs=0.002)
    assert line.scan.first_mm == 0.0
    assert line.marks == ()
    assert line.zone == job.zones[0].id
    antenna = job.antenna_of(line)
    assert antenna.separation_mm == 40.0
    assert antenna.centre_frequency_ghz == pytest.approx(2.0, abs=0.3)
    assert "separation from the file" in antenna.source


def test_the_line_remembers_which_scan_it_shows(scan):
    job, line_id = take_in(Job(), scan, given_dt_ns=0.02, given_trace_spacing_mm=5.0)
    ref = job.line(line_id).scan
    assert ref.sha256 == scan.sha256
    assert (ref.traces, ref.samples, ref.dt_ns) == (scan.traces, scan.samples, scan.dt_ns)
    assert (ref.given_dt_ns, ref.given_trace_spacing_mm) == (0.02, 5.0)


def test_the_line_is_named_after_its_file_and_no_two_alike(scan, tmp_path):
    named = dataclasses.replace(scan, source=str(tmp_path / "deck north.sgy"), size_bytes=3)
    job, _ = take_in(Job(), named)
    job, _ = take_in(job, named)
    job, _ = take_in(job, named)
    assert [line.name for line in job.lines] == ["deck north", "deck north (2)", "deck north (3)"]
    assert job.lines[0].scan.size_bytes == 3


def test_lines_with_the_same_separation_share_an_antenna(scan):
    job, _ = take_in(Job(), scan)
    job, second = take_in(job, scan)
    assert len(job.antennas) == 1
    assert job.line(second).antenna == job.antennas[0].id


def test_another_separation_is_another_antenna(scan):
    job, _ = take_in(Job(), scan)
    job, second = take_in(job, dataclasses.replace(scan, separation_mm=60.0))
    assert len(job.antennas) == 2
    assert job.antenna_of(job.line(second)).separation_mm == 60.0


def test_a_file_that_is_silent_gets_the_jobs_antenna_or_an_assumed_one(scan):
    silent = dataclasses.replace(scan, separation_mm=None)
    job, line_id = take_in(Job(), silent)
    antenna = job.antenna_of(job.line(line_id))
    assert antenna.separation_mm == priors.ANTENNA_SEPARATION_MM
    assert "separation assumed" in antenna.source
    job, _ = take_in(Job(), dataclasses.replace(scan, separation_mm=60.0))
    job, line_id = take_in(job, silent)
    assert job.antenna_of(job.line(line_id)).separation_mm == 60.0


def test_a_separation_of_zero_in_the_file_is_taken_as_said(scan):
    job, line_id = take_in(Job(), dataclasses.replace(scan, separation_mm=0.0))
    antenna = job.antenna_of(job.line(line_id))
    assert antenna.separation_mm == 0.0
    assert "separation from the file" in antenna.source


def test_an_antenna_card_is_used_as_it_is(scan):
    card = Antenna(id="card", separation_mm=58.0, centre_frequency_ghz=1.9, source="measured")
    job, line_id = take_in(Job(), scan, antenna=card)
    assert job.antenna_of(job.line(line_id)) == card
    job, _ = take_in(job, scan, antenna=card)
    assert job.antennas == (card,)


def test_a_scan_without_a_pulse_is_refused():
    with pytest.raises(DepthwrightError, match="no pulse"):
        take_in(Job(), scan_from_array(np.ones((10, 100)), 0.02))
