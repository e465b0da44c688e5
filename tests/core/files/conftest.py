"""A job with every kind of mark, for the tests of files."""

import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from depthwright.job import (
    Anchor,
    Antenna,
    BarMark,
    DirectPick,
    FaceMark,
    Job,
    Line,
    NoteMark,
    ScanRef,
    TargetMark,
    Tie,
)


def a_line(scan: str, marks: tuple) -> Line:
    return Line(
        id="line-1",
        name="Wall",
        scan=ScanRef(
            path=scan, size_bytes=3600, sha256="ab" * 32, traces=200, samples=400, dt_ns=0.02
        ),
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=1.0),
        marks=marks,
    )


def a_job(scan: str) -> Job:
    marks = (
        BarMark(id="bar-1", number=1, position_mm=100.0, position_u_mm=1.5, time_ns=1.6,
                tie=Tie(depth_mm=42.0, plus_minus_mm=1.0)),
        BarMark(id="bar-2", number=2, position_mm=250.0, position_u_mm=1.5, time_ns=1.7),
        BarMark(id="bar-3", number=3, position_mm=400.0, position_u_mm=1.5, time_ns=0.9),
        FaceMark(id="face-1", number=1, anchors=(
            Anchor(position_mm=0.0, time_ns=3.6), Anchor(position_mm=900.0, time_ns=3.7))),
        TargetMark(id="target-1", number=1, position_mm=320.0, position_u_mm=2.0, time_ns=2.2,
                   what="conduit"),
        NoteMark(id="note-1", position_mm=10.0, time_ns=2.0, text='Brackets [\n "1", 2 ]'),
    )  # fmt: skip
    return Job(
        name="Deck, bay 3 — “north” 日本",
        antennas=(Antenna(id="antenna-1", centre_frequency_ghz=1.8),),
        lines=(a_line(scan, marks),),
    )


@pytest.fixture(scope="session")
def make_job() -> Callable[[str], Job]:
    """Makes the job of one line whose scan has the path given."""
    return a_job


@pytest.fixture
def job(tmp_path: Path) -> Job:
    """The job, its scan in a folder beside it."""
    return a_job(str(tmp_path / "scans" / "wall.sgy"))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where to save it."""
    return tmp_path / "deck.dwjob"


NOBODY = 65534


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that belongs to whoever :func:`nobody` is, below one that everybody may enter."""
    if not hasattr(os, "geteuid"):
        pytest.skip("this system has no modes of files")
    with tempfile.TemporaryDirectory() as top:
        os.chmod(top, 0o755)
        folder = Path(top) / "mine"
        folder.mkdir()
        if os.geteuid() == 0:
            os.chown(folder, NOBODY, NOBODY)
        yield folder
        folder.chmod(0o755)


@pytest.fixture
def nobody(open_folder: Path) -> Iterator[None]:
    """Whoever runs the tests, a user who may do no more than the modes of files say."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
