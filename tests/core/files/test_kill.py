"""A program killed in the middle of saving leaves the job whole, and no edit that it told of is lost."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

HELPER = Path(__file__).with_name("killed_saves.py")

if not hasattr(os, "fork"):
    pytest.skip("this system has no fork", allow_module_level=True)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """In memory where that can be: a killed process loses nothing that the system was given."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else tmp_path) as made:
        yield Path(made)


def killed(folder: Path, *how: str) -> dict:
    done = subprocess.run(
        [sys.executable, str(HELPER), str(folder), *how],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return json.loads(done.stdout.splitlines()[-1])


def test_killed_at_any_moment_the_job_is_whole_and_no_edit_is_lost(folder: Path) -> None:
    found = killed(folder, "timed", "7", "8")
    assert found["faults"] == []
    assert (found["rounds"], found["killed"]) == (8, 8)
    assert found["edits"] > 8


def test_killed_at_every_call_of_the_system_as_well(folder: Path) -> None:
    found = killed(folder, "points")
    assert found["faults"] == []
    # A recovery file and a save: each syncs, replaces, clears up and syncs its folder, at least.
    assert found["killed"] == found["rounds"] - 2 >= 2 * 2 * 5
    assert found["left_over"] >= 5
