"""From a scan to a line of the job."""

import dataclasses

import numpy as np
import pytest

from depthwright.depth import priors
from depthwright.errors import DepthwrightError
from depthwright.intake import Survey, hash_found, take_in
from depthwright.job import Antenna, Given, Job
from depthwright.measuring.timezero import sample_traces
from depthwright.results.tracking import pick_stage
from depthwright.scan import Scan, scan_from_array


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
    job, line_id = take_in(Job(), scan, given=Given(dt_ns=0.02, trace_spacing_mm=5.0))
    ref = job.line(line_id).scan
    assert ref.sha256 == scan.sha256
    assert (ref.traces, ref.samples, ref.dt_ns) == (scan.traces, scan.samples, scan.dt_ns)
    assert ref.given == Given(dt_ns=0.02, trace_spacing_mm=5.0)


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
    job, line_id = take_in(Job(), scan, card=card)
    (antenna,) = job.antennas
    assert antenna == card.model_copy(update={"id": antenna.id})
    assert job.line(line_id).antenna == antenna.id
    job, _ = take_in(job, scan, card=card)
    assert job.antennas == (antenna,)


def test_a_scan_without_a_pulse_is_refused():
    with pytest.raises(DepthwrightError, match="no pulse"):
        take_in(Job(), scan_from_array(np.ones((10, 100)), 0.02))


def test_a_survey_made_before_gives_the_same_line_and_the_stage_it_is_picked_on(scan):
    survey = Survey(scan).prepare(Job())
    assert survey.serves(Job())
    job, line_id = take_in(Job(), scan, survey=survey)
    assert (job, line_id) == take_in(Job(), scan)
    line = job.line(line_id)
    _, stage = survey.find(job.antenna_of(line).centre_frequency_ghz)
    again = pick_stage(job, line, scan)
    assert stage.scan is scan
    assert stage.direct.time_ns == again.direct.time_ns
    np.testing.assert_array_equal(stage.direct.wavelet, again.direct.wavelet)


def test_a_survey_does_not_serve_a_job_that_has_got_another_antenna(scan):
    survey = Survey(scan).prepare(Job())
    card = Antenna(id="card", separation_mm=40.0, centre_frequency_ghz=1.7, source="measured")
    job = Job(antennas=(card,))
    assert not survey.serves(job)
    assert survey.prepare(job).serves(job)
    assert take_in(job, scan, survey=survey) == take_in(job, scan)


def long_line(traces, asked):
    """A line that says which traces it was asked for."""
    samples = np.random.default_rng(8).normal(size=(traces, 8)).astype(np.float32)

    def read(first, last):
        asked.extend(range(first, last))
        return samples[first:last]

    return Scan(traces, 8, 0.02, np.arange(float(traces)), "", read), samples


@pytest.mark.parametrize("traces", [1, 1000, 1024, 1025, 3000, 50_000])
def test_only_the_traces_that_are_sampled_are_read(traces):
    asked = []
    scan, samples = long_line(traces, asked)
    stride = -(-traces // 1024)
    np.testing.assert_array_equal(sample_traces(scan), samples[::stride])
    assert asked == list(range(0, traces, stride))


def test_the_hash_is_put_where_it_was_not_known(scan):
    opened = dataclasses.replace(scan, source="/x/wall.sgy", size_bytes=9, sha256="")
    job, first = take_in(Job(), opened)
    job, second = take_in(job, opened)
    found = hash_found(job, first, dataclasses.replace(opened, sha256="ab"))
    assert [line.scan.sha256 for line in found.lines] == ["ab", ""]
    assert found.line(second) == job.line(second)
    assert hash_found(found, first, dataclasses.replace(opened, sha256="cd")) == found
    other = dataclasses.replace(opened, source="/x/other.sgy", sha256="ef")
    assert hash_found(job, first, other) == job
