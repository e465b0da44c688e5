"""Damaged matrices open or end in one sentence: no other exception, no warning, no large memory.

Seeded; ``packaging/benchmarks/bench_fuzz_matrix.py`` is the longer run.
"""

import io
import random
import tracemalloc

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.readers import open_file
from depthwright.job import Given

TOLD = Given(dt_ns=0.02, trace_spacing_mm=5.0)
PIECES = (
    b"\0", b"\xff", b",", b";", b"\n", b"\r", b"-", b"e", b"nan", b"inf", b"1e999", b'"', b"#", b" ",
    b"\t", b"9" * 30, b"x", b"\xe2\x88\x92", b"_", b".", b"'", b"0x1", b"(", b"-1", b"\\", b"\x1a",
)  # fmt: skip


def damaged(raw, at_random):
    """One to three places of a file overwritten, filled in, taken out, cut or doubled."""
    raw = bytearray(raw)
    for _ in range(at_random.choice((1, 1, 1, 2, 3))):
        at, how = at_random.randrange(len(raw) + 1), at_random.random()
        if how < 0.35:
            raw[at : at + 1] = bytes([at_random.randrange(256)])
        elif how < 0.6:
            raw[at:at] = at_random.choice(PIECES)
        elif how < 0.75:
            del raw[at : at + at_random.randint(1, 20)]
        elif how < 0.85:
            del raw[at:]
        else:
            begin = at_random.randrange(len(raw) + 1)
            raw[at:at] = raw[begin : begin + at_random.randint(1, 40)]
    return bytes(raw)


def texts():
    """Some small lines as text, in several ways of writing."""
    line = np.random.default_rng(1).normal(size=(8, 9))
    line[:, 0] = 5.0 * np.arange(8)
    for delimiter, decimal, head, encoding in (
        (",", ".", "", "utf-8"),
        (";", ",", "x_mm;" + ";".join(f"{0.02 * k:g}" for k in range(8)) + "\n", "utf-8-sig"),
        ("\t", ".", "# dt = 0.02 ns\n% spacing\n", "latin-1"),
        (" ", ",", "", "utf-16"),
    ):
        body = "\n".join(delimiter.join(f"{v:.4g}" for v in row) for row in line)
        yield (head + body).replace(".", decimal).encode(encoding)


def arrays():
    """Some small lines as .npy."""
    line = 50 * np.random.default_rng(2).normal(size=(9, 8))
    for kind, order in (("<f4", "C"), (">f8", "F"), ("<i2", "C"), ("?", "C"), ("<f2", "F")):
        buffer = io.BytesIO()
        np.save(buffer, np.asarray(line.astype(kind), order=order))
        yield buffer.getvalue()


def read(path, checked=True):
    """What is said of a file that is refused; empty where it opens."""
    try:
        scan = open_file(path, TOLD)
        scan.block(0, scan.traces)
        if checked:
            scan.check()
    except DepthwrightError as refused:
        return f"{refused.message} / {refused.hint}"
    return ""


@pytest.mark.parametrize(("make", "fewest"), [(texts, 200), (arrays, 700)], ids=["text", "npy"])
def test_two_thousand_damaged_files_open_or_end_in_a_sentence(tmp_path, make, fewest):
    at_random = random.Random(7)
    whole = list(make())
    path = tmp_path / "line.csv"
    said = []
    for at in range(2000):
        path.write_bytes(damaged(at_random.choice(whole), at_random))
        said.append(read(path, checked=at % 5 == 0))
    assert said.count("") >= fewest  # it is not that all of them are refused at the door
    sentences = [each.split(" / ") for each in said if each]
    assert all(message.endswith(".") and hint.endswith(".") for message, hint in sentences)


@pytest.mark.parametrize("make", [texts, arrays], ids=["text", "npy"])
def test_memory_stays_near_the_size_of_the_file(tmp_path, make):
    at_random = random.Random(8)
    whole = list(make())
    path = tmp_path / "line.csv"
    read(path.with_name("none.csv"))
    tracemalloc.start()
    try:
        for _ in range(60):
            path.write_bytes(damaged(at_random.choice(whole), at_random))
            tracemalloc.reset_peak()
            read(path)
            assert (
                tracemalloc.get_traced_memory()[1] < 4e6
            )  # the piece in which a hash is made, and room
    finally:
        tracemalloc.stop()


def test_three_hundred_damaged_hdf5_files_open_or_end_in_a_sentence(tmp_path):
    h5py = pytest.importorskip("h5py")
    at_random = random.Random(9)
    whole = []
    for packing in ({}, {"compression": "gzip", "shuffle": True, "fletcher32": True}):
        with h5py.File(tmp_path / "whole.h5", "w") as file:
            data = file.create_dataset("scan/line", data=np.eye(12, 15, dtype="f4"), **packing)
            data.attrs["dt_ns"] = 0.02
        whole.append((tmp_path / "whole.h5").read_bytes())
    path, said = tmp_path / "line.h5", []
    for _ in range(300):
        raw = bytearray(at_random.choice(whole))
        if at_random.random() < 0.3:
            del raw[at_random.randrange(len(raw)) :]
        else:
            for _ in range(at_random.choice((1, 2, 20))):
                raw[at_random.randrange(len(raw))] = at_random.randrange(256)
        path.write_bytes(raw)
        said.append(read(path))
    assert 60 <= said.count("") <= 290
