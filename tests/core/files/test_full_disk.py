"""A full disk, or a folder that may not be written to, costs nobody a file; the same for every writer."""

import errno
import io
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.exports.write import export_image, export_job
from depthwright.files.jobfile import save_job
from depthwright.files.pack import pack_job
from depthwright.files.recovery import write_recovery
from depthwright.files.segy import read_segy, write_segy
from depthwright.files.unpack import open_pack
from depthwright.job import Job
from depthwright.results.evaluate import evaluate
from depthwright.results.values import Results
from depthwright.scan import Scan

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)
SAMPLES = np.random.default_rng(1).normal(size=(40, 64)).astype(np.float32)


@dataclass(frozen=True)
class Material:
    """What there is to write."""

    job: Job
    results: Results
    scan: Scan
    pack: Path


def material_in(folder: Path, make_job: Callable[[str], Job]) -> Material:
    write_segy(folder / "wall.sgy", SAMPLES, 0.02, np.arange(40) * 5.0)
    scan = read_segy(folder / "wall.sgy")
    job = make_job(str(folder / "wall.sgy"))
    known = {"size_bytes": scan.size_bytes, "sha256": scan.sha256, "traces": 40, "samples": 64}
    line = job.lines[0].model_copy(update={"scan": job.lines[0].scan.model_copy(update=known)})
    job = job.model_copy(update={"lines": (line,)})
    results = evaluate(job)
    pack_job(folder / "deck.zip", job, results, NOW)
    return Material(job, results, scan, folder / "deck.zip")


Writer = Callable[[Material, Path], object]

WRITERS: dict[str, tuple[str, Writer]] = {
    "job": ("deck.dwjob", lambda m, to: save_job(to, m.job, m.results, NOW)),
    "recovery": (
        "one.dwrecovery",
        lambda m, to: write_recovery(to.parent, "one", m.job, None, "", NOW),
    ),
    "pack": ("deck.zip", lambda m, to: pack_job(to, m.job, m.results, NOW)),
    "scan": ("a.sgy", lambda m, to: write_segy(to, SAMPLES, 0.02, np.arange(40) * 5.0)),
    "image": (
        "a.png",
        lambda m, to: export_image(to, m.job, "line-1", m.scan, m.results, NOW),
    ),
    "tables": ("Wall-bars.csv", lambda m, to: export_job(m.job, {}, m.results, to.parent, NOW)),
    "unpacked": ("deck", lambda m, to: open_pack(m.pack, to.parent)),
}
"""What each writes first, and how."""


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def refused(write: Writer, material: Material, target: Path, said: str, hint: str) -> None:
    """The former file stays whole, nothing else is there, and a sentence says what to do."""
    before = {each.name: each.read_bytes() for each in target.parent.iterdir() if each.is_file()}
    with pytest.raises(DepthwrightError) as caught:
        write(material, target)
    assert said in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.message.endswith(".")
    assert {each.name: each.read_bytes() for each in target.parent.iterdir()} == before


# A disk that is full after so many bytes.


class SmallDisk(io.FileIO):
    """A file on a disk that has room for some more bytes."""

    room = 0

    def write(self, data: object, /) -> int:
        view = memoryview(data).cast("B")  # type: ignore[arg-type]
        taken = min(len(view), SmallDisk.room)
        SmallDisk.room -= taken
        if taken < len(view):
            super().write(view[:taken])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(view)


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory, make_job: Callable[[str], Job]) -> Material:
    return material_in(tmp_path_factory.mktemp("material"), make_job)


# An image takes a second to draw: once is enough for it.
ROOMS = [
    (what, room) for what in WRITERS for room in (100, 0, 1, 1000)[: 1 if what == "image" else 4]
]


@pytest.mark.parametrize(("what", "room"), ROOMS)
def test_a_disk_that_becomes_full_while_writing(
    material: Material, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str, room: int
) -> None:
    name, write = WRITERS[what]
    if what != "unpacked":
        (tmp_path / name).write_bytes(b"the former one")
    true_open = Path.open

    def small(self: Path, mode: str = "r", *args: object, **rest: object) -> object:
        if mode == "xb":
            return io.BufferedWriter(SmallDisk(self, "xb"))
        return true_open(self, mode, *args, **rest)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", small)
    monkeypatch.setattr(SmallDisk, "room", room)
    refused(write, material, tmp_path / name, "could not be written: No space left", "Make room")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real disk of 256 kB, where one can be made."""
    place = tmp_path / "disk"
    place.mkdir()
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        pytest.skip("a small disk can be mounted by root on Linux only")
    command = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    if subprocess.run(command, capture_output=True).returncode:
        pytest.skip("nothing can be mounted here")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


@pytest.mark.parametrize("what", [what for what in WRITERS if what != "image"])
def test_a_real_disk_that_is_full(material: Material, small_disk: Path, what: str) -> None:
    name, write = WRITERS[what]
    if what != "unpacked":
        (small_disk / name).write_bytes(b"the former one")
    with pytest.raises(OSError, match="No space left"):
        fill(small_disk / "filler")
    said = (
        "does not fit on the disk" if what == "unpacked" else "could not be written: No space left"
    )
    refused(write, material, small_disk / name, said, "Make room")


def fill(path: Path) -> None:
    with path.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))


# A folder and a file that may not be written to.


@pytest.fixture
def lent(open_folder: Path, nobody: None, make_job: Callable[[str], Job]) -> Material:
    """The material of a user who may do no more than the modes of files say."""
    folder = open_folder / "material"
    folder.mkdir()
    return material_in(folder, make_job)


@pytest.mark.parametrize("what", WRITERS)
def test_a_folder_that_may_not_be_written_to(lent: Material, what: str) -> None:
    name, write = WRITERS[what]
    place = lent.pack.parent.parent / "place"
    place.mkdir()
    if what != "unpacked":
        (place / name).write_bytes(b"the former one")
    place.chmod(0o555)
    refused(write, lent, place / name, "could not be written: Permission denied", "may write to")
    place.chmod(0o755)


@pytest.mark.parametrize("what", [what for what in WRITERS if what not in ("unpacked", "image")])
def test_a_file_that_may_not_be_written_to(lent: Material, what: str) -> None:
    name, write = WRITERS[what]
    place = lent.pack.parent.parent / "place"
    place.mkdir()
    (place / name).write_bytes(b"the former one")
    (place / name).chmod(0o444)
    said = f"{name} is protected from being written to."
    refused(write, lent, place / name, said, "Save under another name")
