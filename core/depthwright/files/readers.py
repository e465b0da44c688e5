"""One way in for every kind of scan file: which reader serves is told from the file itself."""

from dataclasses import dataclass
from pathlib import Path

from depthwright.files.facts import FileFacts, Need
from depthwright.files.interval_readings import IntervalReading, interval_readings
from depthwright.files.segy import open_segy, segy_facts
from depthwright.job import NOTHING_GIVEN, Given
from depthwright.measuring.timezero import sample_traces
from depthwright.scan import Block, Scan

GLANCE_TRACES = 400
"""Traces of a small picture, and of its spectrum."""

_STAND_INS: dict[Need, dict[str, float]] = {
    "trace_spacing": {"trace_spacing_mm": 1.0},
    "sample_interval": {"dt_ns": 1.0},
}


def open_file(path: str | Path, given: Given = NOTHING_GIVEN) -> Scan:
    """Open a scan's file; its samples have not been looked at yet.

    Parameters
    ----------
    path
        The file: SEG-Y or a plain matrix.
    given
        What the user said of it; wins over what the file says.

    Raises
    ------
    MissingGeometry
        If the file does not tell where its traces or samples are and it was not given.
    DepthwrightError
        If the file cannot be read.
    """
    return open_segy(path, given)


def file_facts(path: str | Path, given: Given = NOTHING_GIVEN) -> FileFacts:
    """Tell what a scan's file says and what was made of it, also where something is missing.

    Raises
    ------
    DepthwrightError
        If the file cannot be read.
    """
    return segy_facts(path, given)


@dataclass(frozen=True)
class Glance:
    """A file before it is taken in: its facts, and its samples whatever the file leaves open.

    Parameters
    ----------
    facts
        What the file says.
    scan
        The scan; where something is missing, one with a stand-in: its samples are right, its
        sample interval (1 ns) or its positions (1 mm apart) mean nothing.
    traces
        Some of its traces, shape (traces, samples).
    readings
        What its sample interval can mean.
    """

    facts: FileFacts
    scan: Scan
    traces: Block
    readings: tuple[IntervalReading, ...]


def glance(path: str | Path, given: Given = NOTHING_GIVEN) -> Glance:
    """Look at a file before it is taken in.

    Raises
    ------
    DepthwrightError
        If the file cannot be read.
    """
    facts = file_facts(path, given)
    stand_in = {name: value for need in facts.needs for name, value in _STAND_INS[need].items()}
    scan = open_file(path, given.model_copy(update=stand_in))
    traces = sample_traces(scan, GLANCE_TRACES)
    read_ns = None if "sample_interval" in facts.needs else scan.dt_ns
    return Glance(facts, scan, traces, interval_readings(facts, traces, read_ns))
