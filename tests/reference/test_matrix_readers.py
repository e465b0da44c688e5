"""Matrices against readers outside the project.

Sources: numpy's ``loadtxt`` and ``genfromtxt``, Python's ``csv`` module, numpy's
``load`` for .npy; h5py for HDF5, whose slices are compared with blocks.
"""

import csv
import io

import numpy as np
import pytest

from depthwright.files.readers import open_file
from depthwright.job import Given

ROWS = Given(dt_ns=0.02, trace_spacing_mm=5.0, traces_in="rows")
COLUMNS = ROWS.model_copy(update={"traces_in": "columns"})


@pytest.fixture(scope="module")
def line():
    return np.random.default_rng(4).normal(scale=300, size=(60, 45))


def all_of(path, told=ROWS):
    scan = open_file(path, told)
    return scan.block(0, scan.traces)


@pytest.mark.parametrize("written", ["%.18e", "%.6g", "%d", "%+.3f"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
def test_numpys_two_readers_of_text_give_the_same(tmp_path, line, written, delimiter):
    path = tmp_path / "line.txt"
    np.savetxt(path, line, written, delimiter, header="made up", footer="end")
    between = None if delimiter == " " else delimiter
    loaded = np.loadtxt(path, delimiter=between)
    generated = np.genfromtxt(path, delimiter=between)
    np.testing.assert_array_equal(all_of(path), loaded.astype(np.float32))
    np.testing.assert_array_equal(all_of(path, COLUMNS), generated.T.astype(np.float32))


@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
@pytest.mark.parametrize("dialect", ["excel", "excel-tab", "unix"])
def test_what_pythons_csv_module_writes_and_reads_is_the_same(tmp_path, line, dialect, quoting):
    path = tmp_path / "line.csv"
    head = ["x_mm", *(f"{0.02 * at:g}" for at in range(line.shape[1]))]
    with path.open("w", newline="") as file:
        writer = csv.writer(file, dialect, quoting=quoting)
        writer.writerow(head)
        writer.writerows([5 * at, *row] for at, row in enumerate(line.tolist()))
    with path.open(newline="") as file:
        cells = list(csv.reader(file, dialect))
    expected = np.array([[float(cell) for cell in row] for row in cells[1:]])
    scan = open_file(path, Given(dt_ns=0.02))
    np.testing.assert_array_equal(scan.block(0, len(line)), expected[:, 1:].astype(np.float32))
    np.testing.assert_allclose(scan.positions_mm, expected[:, 0])


def test_decimal_commas_are_what_genfromtxt_reads_once_they_are_points(tmp_path, line):
    buffer = io.StringIO()
    np.savetxt(buffer, line, "%.7g", ";")
    path = tmp_path / "line.csv"
    path.write_text(buffer.getvalue().replace(".", ","))
    expected = np.genfromtxt(io.StringIO(buffer.getvalue()), delimiter=";")
    np.testing.assert_array_equal(all_of(path), expected.astype(np.float32))


@pytest.mark.parametrize("kind", ["<f4", ">f8", "<i2", "u1", "<f2", "?"])
@pytest.mark.parametrize("order", ["C", "F"])
def test_blocks_of_npy_are_numpys_own(tmp_path, line, kind, order):
    path = tmp_path / "line.npy"
    np.save(path, np.asarray(np.abs(line / 4).astype(kind), order=order))
    loaded = np.load(path).astype(np.float32)
    for told, traces in ((ROWS, loaded), (COLUMNS, loaded.T)):
        scan = open_file(path, told)
        for first, last in ((0, 1), (7, 40), (0, scan.traces)):
            np.testing.assert_array_equal(scan.block(first, last), traces[first:last])


@pytest.mark.parametrize(
    "packing", [{}, {"chunks": (7, 11), "compression": "gzip", "shuffle": True}]
)
def test_blocks_of_hdf5_are_h5pys_slices(tmp_path, line, packing):
    h5py = pytest.importorskip("h5py")
    path = tmp_path / "line.h5"
    with h5py.File(path, "w") as file:
        file.create_dataset("line", data=line, **packing)
    with h5py.File(path, "r") as file:
        rows, columns = file["line"][5:25].astype("f4"), file["line"][:, 5:25].astype("f4")
    np.testing.assert_array_equal(open_file(path, ROWS).block(5, 25), rows)
    np.testing.assert_array_equal(open_file(path, COLUMNS).block(5, 25), columns.T)
