"""A line shows the very file its marks were made on, or says why not."""

from pathlib import Path

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.scans import find_scan, must_be, open_scan
from depthwright.files.segy import read_segy, write_segy
from depthwright.job import Given, ScanRef


@pytest.fixture
def ref(tmp_path: Path) -> ScanRef:
    samples = np.random.default_rng(5).normal(size=(12, 64)).astype(np.float32)
    path = tmp_path / "wall.sgy"
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
    assert "its contents differ" in refused(ref).message


def test_a_changed_byte_is_found_by_the_check_behind_the_picture(ref: ScanRef) -> None:
    must_be(ref, find_scan(ref).check())
    raw = bytearray(Path(ref.path).read_bytes())
    raw[-2] ^= 1
    Path(ref.path).write_bytes(raw)
    scan = find_scan(ref)
    assert (scan.traces, scan.sha256) == (12, "")
    with pytest.raises(DepthwrightError, match="its contents differ"):
        must_be(ref, scan.check())


def test_a_hash_that_was_never_found_out_refuses_nothing(ref: ScanRef) -> None:
    assert open_scan(ref.model_copy(update={"sha256": ""})).sha256 == ref.sha256


def test_a_folder_in_its_place(ref: ScanRef) -> None:
    Path(ref.path).unlink()
    Path(ref.path).mkdir()
    refused(ref)


def test_a_line_without_a_file(ref: ScanRef) -> None:
    assert "no scan file" in refused(ref.model_copy(update={"path": ""})).message
