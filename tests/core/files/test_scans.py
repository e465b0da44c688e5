"""A line shows the very file its marks were made on, also when that has moved, or says why not."""

import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files import scans
from depthwright.files.scans import find_moved, find_scan, must_be, open_scan
from depthwright.files.segy import read_segy, write_segy
from depthwright.job import Given, ScanRef


@pytest.fixture
def ref(tmp_path: Path) -> ScanRef:
    samples = np.random.default_rng(5).normal(size=(12, 64)).astype(np.float32)
    path = tmp_path / "old" / "scans" / "wall.sgy"
    path.parent.mkdir(parents=True)
    write_segy(path, samples, 0.02, np.arange(12) * 5.0)
    scan = read_segy(path)
    return ScanRef(
        path=str(path),
        size_bytes=path.stat().st_size,
        sha256=scan.sha256,
        traces=scan.traces,
        samples=scan.samples,
        dt_ns=scan.dt_ns,
    )


def refused(ref: ScanRef) -> DepthwrightError:
    with pytest.raises(DepthwrightError) as caught:
        open_scan(ref)
    assert caught.value.hint
    return caught.value


def test_the_file_is_opened(ref: ScanRef) -> None:
    scan = open_scan(ref)
    assert (scan.traces, scan.samples, scan.sha256) == (12, 64, ref.sha256)


def test_what_the_user_said_of_it_holds_again(ref: ScanRef) -> None:
    given = ref.model_copy(update={"given": Given(trace_spacing_mm=7.5, dt_ns=0.025)})
    scan = open_scan(given)
    assert scan.trace_spacing_mm == pytest.approx(7.5)
    assert scan.dt_ns == pytest.approx(0.025)


def test_a_missing_file_is_named_with_its_folder(ref: ScanRef) -> None:
    path = Path(ref.path)
    path.unlink()
    assert refused(ref).message == f"The scan wall.sgy is not at {path.parent}."


def test_another_length_is_a_changed_file(ref: ScanRef) -> None:
    with Path(ref.path).open("ab") as file:
        file.write(b"more")
    assert "bytes instead of" in refused(ref).message


def test_one_changed_byte_is_a_changed_file(ref: ScanRef) -> None:
    raw = bytearray(Path(ref.path).read_bytes())
    raw[-2] ^= 1
    Path(ref.path).write_bytes(raw)
    assert refused(ref).message == (
        "wall.sgy is not the scan that was added to the job: it has the same size and shape, but "
        "other samples."
    )


def test_a_changed_byte_is_found_by_the_check_behind_the_picture(ref: ScanRef) -> None:
    must_be(ref, find_scan(ref).check())
    raw = bytearray(Path(ref.path).read_bytes())
    raw[-2] ^= 1
    Path(ref.path).write_bytes(raw)
    scan = find_scan(ref)
    assert (scan.traces, scan.sha256) == (12, "")
    with pytest.raises(DepthwrightError, match="but other samples"):
        must_be(ref, scan.check())


def test_a_hash_that_was_never_found_out_refuses_nothing(ref: ScanRef) -> None:
    assert open_scan(ref.model_copy(update={"sha256": ""})).sha256 == ref.sha256


def test_a_folder_in_its_place(ref: ScanRef) -> None:
    Path(ref.path).unlink()
    Path(ref.path).mkdir()
    refused(ref)


def test_a_line_without_a_file(ref: ScanRef) -> None:
    assert "no scan file" in refused(ref.model_copy(update={"path": ""})).message


# A scan that has changed: the difference in words.


def rewritten(ref: ScanRef, samples: NDArray[np.float32], dt_ns: float, first_mm: float) -> str:
    positions = first_mm + np.arange(len(samples)) * 5.0
    write_segy(ref.path, samples, dt_ns, positions)
    problem = refused(ref)
    assert problem.hint.startswith("Put the original back")
    return problem.message.partition("it has ")[2]


def other(traces: int = 12, samples: int = 64) -> NDArray[np.float32]:
    return np.random.default_rng(6).normal(size=(traces, samples)).astype(np.float32)


def test_fewer_traces_are_told_with_the_bytes(ref: ScanRef) -> None:
    size = ref.size_bytes - (240 + 64 * 4)
    said = rewritten(ref, other(traces=11), 0.02, 0.0)
    assert said == f"{size} bytes instead of {ref.size_bytes}, 11 traces instead of 12."


def test_other_samples_a_trace_are_told(ref: ScanRef) -> None:
    assert "65 samples a trace instead of 64." in rewritten(ref, other(samples=65), 0.02, 0.0)


def test_another_sample_interval_is_told(ref: ScanRef) -> None:
    said = rewritten(ref, other(), 0.025, 0.0)
    assert said == "a sample interval of 0.025 ns instead of 0.02 ns."


def test_another_first_position_is_told(ref: ScanRef) -> None:
    said = rewritten(ref, other(), 0.02, 35.0)
    assert said == "a first trace at 35 mm instead of 0 mm."


def test_what_is_no_scan_any_more_is_told(ref: ScanRef) -> None:
    Path(ref.path).write_bytes(b"no scan")
    assert "7 bytes instead of" in refused(ref).message
    assert "and cannot be opened as it was" in refused(ref).message


# What is no file to open.


def test_a_pipe_makes_nobody_wait(ref: ScanRef) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    Path(ref.path).unlink()
    os.mkfifo(ref.path)
    assert "is no plain file" in refused(ref).message


@pytest.mark.parametrize("path", ["/dev/zero", "/proc/kmsg", "/sys/kernel/uevent_seqnum", "/dev"])
def test_the_system_itself_is_not_opened(ref: ScanRef, path: str) -> None:
    if not os.path.exists(path):
        pytest.skip("there is no such path here")
    assert "part of the system" in refused(ref.model_copy(update={"path": path})).message


def test_a_link_into_the_system_is_not_followed(ref: ScanRef, tmp_path: Path) -> None:
    if not os.path.exists("/dev/zero"):
        pytest.skip("there is no such path here")
    (tmp_path / "link.sgy").symlink_to("/dev/zero")
    linked = ref.model_copy(update={"path": str(tmp_path / "link.sgy")})
    assert "part of the system" in refused(linked).message


@pytest.mark.parametrize(
    ("path", "why"),
    [("a\0b.sgy", "NUL"), ("x" * 300, "too long"), ("/a" * 3000, "too long"),
     (r"\\.\PhysicalDrive0", "device"), (r"\\?\C:\wall.sgy", "device")],
)  # fmt: skip
def test_a_path_that_is_none_is_told(ref: ScanRef, path: str, why: str) -> None:
    assert why in refused(ref.model_copy(update={"path": path})).message


@pytest.mark.parametrize("path", [r"\\server\share\wall.sgy", r"D:\site\wall.sgy"])
def test_a_path_of_another_system_is_not_there(ref: ScanRef, path: str) -> None:
    if os.name == "nt":
        pytest.skip("such paths are this system's own")
    assert "is not at" in refused(ref.model_copy(update={"path": path})).message


# A scan that has moved.


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A job's folder, apart from the one where the scan was."""
    folder = tmp_path / "office" / "jobs"
    folder.mkdir(parents=True)
    return folder


def moved_to(ref: ScanRef, target: Path) -> Path:
    target.parent.mkdir(parents=True, exist_ok=True)
    return Path(shutil.move(ref.path, target))


@pytest.mark.parametrize("where", ["wall.sgy", "scans/wall.sgy", "a/b/c/wall.sgy", "renamed.sgy"])
def test_it_is_found_in_the_jobs_folder_and_below(ref: ScanRef, place: Path, where: str) -> None:
    target = moved_to(ref, place / where)
    assert find_moved(ref, place) == target


def test_it_is_found_beside_its_former_folder(tmp_path: Path, place: Path) -> None:
    (tmp_path / "site" / "monday").mkdir(parents=True)
    old = tmp_path / "site" / "monday" / "wall.sgy"
    write_segy(old, other(), 0.02, np.arange(12) * 5.0)
    ref = ref_of(old)
    target = moved_to(ref, tmp_path / "site" / "tuesday" / "wall.sgy")
    assert find_moved(ref, place) == target
    assert find_moved(ref, None) == target


def ref_of(path: Path) -> ScanRef:
    scan = read_segy(path)
    return ScanRef(
        path=str(path), size_bytes=scan.size_bytes, sha256=scan.sha256, traces=12, samples=64, dt_ns=0.02
    )  # fmt: skip


def test_only_the_very_contents_are_taken(ref: ScanRef, place: Path) -> None:
    raw = bytearray(Path(ref.path).read_bytes())
    raw[-2] ^= 1
    (place / "wall.sgy").write_bytes(raw)
    Path(ref.path).unlink()
    assert find_moved(ref, place) is None
    raw[-2] ^= 1
    (place / "z.sgy").write_bytes(raw)
    assert find_moved(ref, place) == place / "z.sgy"


def test_one_of_the_same_name_comes_first(ref: ScanRef, place: Path) -> None:
    for name in ("a.sgy", "b/WALL.sgy"):
        (place / name).parent.mkdir(exist_ok=True)
        shutil.copy(ref.path, place / name)
    assert find_moved(ref, place) == place / "b" / "WALL.sgy"


def test_without_a_hash_none_is_taken_for_it(ref: ScanRef, place: Path) -> None:
    moved_to(ref, place / "wall.sgy")
    assert find_moved(ref.model_copy(update={"sha256": ""}), place) is None


def test_too_deep_and_round_in_circles_is_not_looked(ref: ScanRef, tmp_path: Path) -> None:
    place = tmp_path / "x" / "jobs"
    target = moved_to(ref, place / "a" / "b" / "c" / "d" / "wall.sgy")
    (place / "a" / "loop").symlink_to(place)
    apart = ref.model_copy(update={"path": str(tmp_path / "gone" / "away" / "wall.sgy")})
    assert target.exists()
    assert find_moved(apart, place) is None


def test_only_so_many_files_are_looked_at(
    ref: ScanRef, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scans, "MOST_ENTRIES", 5)
    for number in range(5):
        (place / f"a{number}.txt").touch()
    moved_to(ref, place / "s" / "wall.sgy")
    apart = ref.model_copy(update={"path": str(place / "gone" / "away" / "wall.sgy")})
    assert find_moved(apart, place) is None


def test_pipes_on_the_way_make_nobody_wait(ref: ScanRef, place: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    os.mkfifo(place / "wall.sgy")
    target = moved_to(ref, place / "z.sgy")
    assert find_moved(ref, place) == target


def test_the_search_tells_how_far_it_is_and_can_be_ended(ref: ScanRef, place: Path) -> None:
    told: list[float] = []
    shutil.copy(ref.path, place / "b.sgy")
    (place / "a.sgy").write_bytes(bytes(ref.size_bytes))
    assert find_moved(ref.model_copy(update={"path": "/nowhere/x/c.sgy"}), place, told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0

    def stop(_: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        find_moved(ref, place, stop)
