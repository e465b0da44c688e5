"""A line in an HDF5 file opens with its samples and with what its attributes state."""

import builtins
import hashlib
import os

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.readers import file_facts, open_file
from depthwright.job import Given

h5py = pytest.importorskip("h5py")

TOLD = Given(dt_ns=0.02, trace_spacing_mm=5.0, traces_in="rows")
LINE = np.random.default_rng(1).normal(size=(30, 50)).astype(np.float32)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "line.h5"


def refusal(path, told=TOLD):
    with pytest.raises(DepthwrightError) as caught:
        open_file(path, told)
    assert caught.value.hint
    return caught.value.message


@pytest.mark.parametrize("kind", ["f4", ">f8", "f2", "i2", ">u4", "?"])
@pytest.mark.parametrize(
    "packing", [{}, {"compression": "gzip", "shuffle": True}, {"compression": "lzf"}]
)
def test_the_one_matrix_of_numbers_is_taken(path, kind, packing):
    stored = (20 * LINE).astype(kind) if kind != ">u4" else np.abs(20 * LINE).astype(kind)
    with h5py.File(path, "w") as file:
        file.create_dataset("scans/first", data=stored[None], **packing)
        file["names"] = ["a", "b"]
        file["cube"] = np.ones((2, 3, 4))
        file["times"] = np.arange(50.0)
    scan = open_file(path, TOLD).check()
    np.testing.assert_array_equal(scan.block(0, 30), stored.astype(np.float32))
    facts = file_facts(path, TOLD)
    assert facts.rows[0].inferred.startswith("data set scans/first of ")
    assert facts.rows[0].settled
    assert facts.data_sets == ()


def test_of_several_the_largest_is_taken_unless_one_is_named(path):
    with h5py.File(path, "w") as file:
        file["a/small"] = LINE[:5]
        file["large"] = LINE
        file["b"] = LINE[:20]
    facts = file_facts(path, TOLD)
    assert facts.data_sets == ("large", "b", "a/small")
    assert (
        facts.rows[0].why == "The largest matrix is taken, large; the file also holds b, a/small."
    )
    assert not facts.rows[0].settled
    named = TOLD.model_copy(update={"data_set": "a/small"})
    assert open_file(path, named).traces == 5
    facts = file_facts(path, named)
    assert facts.data_sets == ("a/small", "large", "b")
    assert facts.rows[0].settled
    assert facts.rows[0].why == ""
    missing = TOLD.model_copy(update={"data_set": "c"})
    assert refusal(path, missing) == "line.h5 holds no matrix of numbers called “c”."


@pytest.mark.parametrize(
    "attributes",
    [
        {"dt": 0.02, "dt_units": b"ns", "trace_spacing": 5, "trace_spacing_unit": b"mm"},
        {"sample_interval_ps": 20, "dx_m": 0.005},
        {"Sampling interval (ns)": np.array([0.02]), "Trace spacing": b"0.5 cm"},
        {"timeStep": b"0.02 ns", "dx": 5},
        {"dt": 20, "trace_interval": 0.005},
    ],
)
@pytest.mark.parametrize("place", ["scans/first", "scans", "/"])
def test_attributes_state_interval_and_spacing(path, attributes, place):
    with h5py.File(path, "w") as file:
        file["scans/first"] = np.tile(LINE, (1, 8))
        for name, value in attributes.items():
            file[place].attrs[name] = np.bytes_(value) if isinstance(value, bytes) else value
    scan = open_file(path, Given(traces_in="rows"))
    assert scan.dt_ns == pytest.approx(0.02)
    assert scan.trace_spacing_mm == pytest.approx(5.0)


def test_words_of_any_length_are_left_alone(path):
    """They stand in a heap, in which a damaged file holds the C library up forever."""
    with h5py.File(path, "w") as file:
        file["line"] = np.tile(LINE, (1, 8))
        file["line"].attrs["dt"] = 20
        file["line"].attrs["dt_units"] = "ns"
        file["line"].attrs["dx"] = "5 mm"
    assert open_file(path, Given(traces_in="rows", trace_spacing_mm=5.0)).dt_ns == 0.02
    assert file_facts(path).needs == ("trace_spacing",)


def test_without_attributes_both_are_asked_for(path):
    with h5py.File(path, "w") as file:
        file["line"] = LINE
        file["line"].attrs["dt"] = "unknown"
        file["line"].attrs["dx"] = np.arange(3)
    assert file_facts(path).needs == ("trace_spacing", "sample_interval")


def test_other_files_are_not_reached_through_it(path, tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["line"] = LINE
    with h5py.File(path, "w") as file:
        file["link"] = h5py.ExternalLink("other.h5", "line")
        file["soft"] = h5py.SoftLink("/link")
    assert refusal(path) == "line.h5 holds no matrix of numbers."
    with h5py.File(path, "w") as file:
        layout = h5py.VirtualLayout((30, 50), "f4")
        layout[:] = h5py.VirtualSource(tmp_path / "other.h5", "line", (30, 50))
        file.create_virtual_dataset("line", layout)
    assert refusal(path) == "The data set line of line.h5 keeps its numbers in other files."
    (tmp_path / "raw.bin").write_bytes(LINE.tobytes())
    with h5py.File(path, "w") as file:
        file.create_dataset(
            "line", (30, 50), "f4", external=[(os.fsencode(tmp_path / "raw.bin"), 0, LINE.nbytes)]
        )
    assert refusal(path) == "The data set line of line.h5 keeps its numbers in other files."


def test_filters_that_are_not_built_in_are_refused(path):
    with h5py.File(path, "w") as file:
        plan = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        plan.set_chunk((10, 10))
        plan.set_filter(32015, h5py.h5z.FLAG_OPTIONAL, ())
        space = h5py.h5s.create_simple((30, 50))
        h5py.h5d.create(file.id, b"line", h5py.h5t.IEEE_F32LE, space, plan)
    assert refusal(path) == (
        "The data set line of line.h5 is packed by a filter that is not built in (number 32015)."
    )


def test_a_matrix_that_is_larger_than_its_file_is_refused(path):
    with h5py.File(path, "w") as file:
        file.create_dataset("line", (100_000, 100_000), "f4", chunks=(100, 100), compression="gzip")
    assert path.stat().st_size < 10_000
    assert refusal(path).startswith("line.h5 holds at least 40000 MB of samples")


def test_without_h5py_it_is_said_how_to_install_it(path, monkeypatch):
    with h5py.File(path, "w") as file:
        file["line"] = LINE
    real = builtins.__import__

    def without(name, *rest):
        if name == "h5py":
            raise ImportError
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(DepthwrightError) as caught:
        open_file(path, TOLD)
    assert caught.value.message == (
        "line.h5 is an HDF5 file, and h5py, which reads those, is not installed."
    )
    assert caught.value.hint == "Install it with: python -m pip install h5py"


def test_the_file_is_left_as_it_was(path):
    with h5py.File(path, "w") as file:
        file["line"] = LINE
    before = path.read_bytes()
    scan = open_file(path, TOLD)
    assert scan.check().sha256 == hashlib.sha256(before).hexdigest()
    assert path.read_bytes() == before
    assert scan.size_bytes == len(before)
    with h5py.File(path, "a") as file:
        file["more"] = LINE
    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.check()
