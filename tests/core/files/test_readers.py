"""Which reader serves is told from what a file holds; its name's ending is a hint."""

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.readers import file_facts, glance, open_file
from depthwright.files.segy import write_segy
from depthwright.job import Given

TOLD = Given(dt_ns=0.02, trace_spacing_mm=5.0, traces_in="rows")
LINE = np.random.default_rng(1).normal(size=(20, 30)).astype(np.float32)


def write_text(path):
    np.savetxt(path, LINE)


def write_npy(path):
    with path.open("wb") as file:
        np.save(file, LINE)


def write_hdf5(path):
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        file["line"] = LINE


def write_hdf5_behind_a_block(path):
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w", userblock_size=1024) as file:
        file["line"] = LINE


def write_as_segy(path):
    write_segy(path, LINE, 0.02, 5.0 * np.arange(20))


WRITERS = (write_text, write_npy, write_hdf5, write_hdf5_behind_a_block, write_as_segy)


@pytest.mark.parametrize("write", WRITERS, ids=lambda write: write.__name__[6:])
@pytest.mark.parametrize(
    "name", ["line.csv", "line.npy", "line.h5", "line.sgy", "line", "line.dat"]
)
def test_contents_tell_the_kind_whatever_the_name(tmp_path, write, name):
    path = tmp_path / name
    write(path)
    scan = open_file(path, TOLD)
    np.testing.assert_array_equal(scan.block(0, 20), LINE)
    assert scan.source == str(path)


UNKNOWN = {
    "picture.png": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20,
    "noise": np.random.default_rng(5).bytes(9000),
    "letter.doc": b"Bars at 90 and 260 mm.\n" * 400,
    "half.npy": b"\x93NUM",
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_a_file_of_no_known_kind_gets_one_sentence_with_the_kinds_that_are_read(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(UNKNOWN[name])
    for read in (open_file, file_facts, glance):
        with pytest.raises(DepthwrightError) as caught:
            read(path)
        assert caught.value.message == f"{name} is of no kind that is read."
        assert caught.value.hint == (
            "Export the line as SEG-Y, as CSV or TSV text, as .npy, or as HDF5."
        )


def test_a_name_that_says_segy_gets_that_readers_sentence(tmp_path):
    path = tmp_path / "line.sgy"
    path.write_bytes(UNKNOWN["letter.doc"])
    with pytest.raises(DepthwrightError, match="is not a SEG-Y file"):
        open_file(path)


def test_empty_files_folders_and_missing_files_have_their_sentences(tmp_path):
    empty = tmp_path / "line.csv"
    empty.write_bytes(b"")
    for path, words in (
        (empty, "line.csv is empty."),
        (tmp_path, f"{tmp_path.name} is a folder."),
        (tmp_path / "no.csv", "no.csv does not exist."),
    ):
        with pytest.raises(DepthwrightError) as caught:
            open_file(path)
        assert caught.value.message == words


@pytest.mark.parametrize("write", WRITERS[:3], ids=lambda write: write.__name__[6:])
def test_a_glance_shows_samples_whatever_the_file_leaves_open(tmp_path, write):
    path = tmp_path / "line.any"
    write(path)
    seen = glance(path, Given(traces_in="rows"))
    assert seen.facts.needs == ("trace_spacing", "sample_interval")
    np.testing.assert_array_equal(seen.scan.block(0, 20), LINE)
    np.testing.assert_array_equal(seen.traces, LINE)
    assert len(seen.readings) > 1


def test_a_glance_bears_samples_that_are_nearly_infinite(tmp_path):
    path = tmp_path / "line.npy"
    np.save(path, LINE * np.float32(1e38))
    assert glance(path, TOLD).scan.traces == 20
