"""Damaged matrices in great number: text, .npy and HDF5, drawn at random and damaged at random.

Each must open or end in one sentence. Printed are how many did which, everything else that was raised, the
longest time for one file, and by how much memory grew. A file that takes half a minute ends the run. Takes
the number of files of each kind, and a seed; files that were not borne are kept in a temporary folder, which
is named.
"""

import collections
import faulthandler
import io
import random
import resource
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.readers import glance
from depthwright.job import Given

FILES, SEED = 5000, 1
LONGEST_S = 30
PIECES = (
    b"\0", b"\xff", b",", b";", b"\n", b"\r", b"-", b"e", b"nan", b"inf", b"1e999", b'"', b"#", b" ",
    b"\t", b"9" * 30, b"x", b"\xe2\x88\x92", b"_", b".", b"'", b"0x1", b"(", b"[", b"-1", b"\\", b"\x1a",
    b"1e-320", b"{", b"1e38", b"-3e38", b"time (ns)", b"x_mm", b"\n\n", b",,", b"0,0,0\n",
)  # fmt: skip
HEADS = (
    "", "", "# made up\n", "dt = 0.02 ns\n", "time (ns)\n", "trace spacing (mm); 5\n", "x_mm{d}a{d}b\n",
    "position_m{d}0{d}0.1{d}0.2{d}0.3{d}0.4\n", "0{d}5{d}10{d}15{d}20\n",
)  # fmt: skip


def a_text(at_random, drawn):
    delimiter = at_random.choice((",", ";", "\t", " "))
    decimal = at_random.choice(".,") if delimiter != "," else "."
    line = drawn.normal(size=(at_random.randint(1, 14), at_random.randint(1, 14)))
    line *= 10.0 ** at_random.randint(-3, 5)
    if at_random.random() < 0.5:
        line[:, 0] = 5.0 * np.arange(len(line))
    body = "\n".join(delimiter.join(f"{value:.4g}" for value in row) for row in line)
    head = at_random.choice(HEADS).format(d=delimiter)
    encoding = at_random.choice(("utf-8", "utf-8", "utf-16", "utf-8-sig", "latin-1"))
    return (head + body.replace(".", decimal)).encode(encoding)


def an_array(at_random, drawn):
    line = 100 * drawn.normal(size=(at_random.randint(1, 14), at_random.randint(1, 14)))
    kind = at_random.choice(("<f4", ">f8", "<i2", "u1", "?", "<f2", "<c8"))
    buffer = io.BytesIO()
    with warnings.catch_warnings(action="ignore"):
        np.save(buffer, np.asarray(line.astype(kind), order=at_random.choice("CF")))
    return buffer.getvalue()


def an_hdf5(at_random, drawn):
    import h5py

    packing = at_random.choice(({}, {"compression": "gzip", "shuffle": True}, {"fletcher32": True}))
    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        line = drawn.normal(size=(at_random.randint(2, 14), at_random.randint(2, 14)))
        file.create_dataset("scan/line", data=line, **packing).attrs["dt_ns"] = 0.02
        file["other"] = line[:1].astype("f4")
        file["scan"].attrs["trace_spacing"] = at_random.choice((5, np.bytes_("5 mm"), "wide"))
    return buffer.getvalue()


def damaged(raw, at_random):
    raw = bytearray(raw)
    for _ in range(at_random.choice((1, 1, 1, 2, 3, 8))):
        at, how = at_random.randrange(len(raw) + 1), at_random.random()
        if how < 0.35:
            raw[at : at + 1] = bytes([at_random.randrange(256)])
        elif how < 0.6:
            raw[at:at] = at_random.choice(PIECES)
        elif how < 0.75:
            del raw[at : at + at_random.randint(1, 20)]
        elif how < 0.82:
            del raw[at:]
        else:
            begin = at_random.randrange(len(raw) + 1)
            raw[at:at] = raw[begin : begin + at_random.randint(1, 40)]
    return bytes(raw)


def some_told(at_random):
    return Given(
        dt_ns=at_random.choice((None, 0.02)),
        trace_spacing_mm=at_random.choice((None, 5.0)),
        traces_in=at_random.choice((None, "rows", "columns")),
        data_set=at_random.choice(("", "", "scan/line")),
    )


def outcome(path, told):
    try:
        scan = glance(path, told).scan.check()
        scan.block(0, scan.traces)
    except DepthwrightError as refused:
        whole = refused.message.endswith(".") and refused.hint
        return "refused" if whole else f"refused with half a sentence: {refused}"
    except Exception:
        return traceback.format_exc(limit=-2)
    return "opened"


def run(name, make, files, seed, folder):
    at_random, drawn = random.Random(seed), np.random.default_rng(seed)
    path, longest_s = folder / "line", 0.0
    found = collections.Counter()
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for at in range(files):
        path.write_bytes(damaged(make(at_random, drawn), at_random))
        faulthandler.dump_traceback_later(LONGEST_S, exit=True)  # not even C code may hang
        start = time.perf_counter()
        what = outcome(path, some_told(at_random))
        longest_s = max(longest_s, time.perf_counter() - start)
        if what not in ("opened", "refused"):
            (folder / f"{name}-{seed}-{at}").write_bytes(path.read_bytes())
        found[what] += 1
    faulthandler.cancel_dump_traceback_later()
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1024
    other = files - found["opened"] - found["refused"]
    print(
        "%-5s %d damaged files: %d opened, %d refused, %d otherwise; the longest took %.2f s; memory grew"
        " by %.0f MB" % (name, files, found["opened"], found["refused"], other, longest_s, grown_mb)
    )
    for what in found - collections.Counter({"opened": files, "refused": files}):
        print("    %d times: %s" % (found[what], what))
    return other


def main():
    files = int(sys.argv[1]) if len(sys.argv) > 1 else FILES
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    warnings.simplefilter("error")
    folder = Path(tempfile.mkdtemp())
    makers = {"text": a_text, "npy": an_array}
    try:
        import h5py  # noqa: F401

        makers["hdf5"] = an_hdf5
    except ImportError:
        print("HDF5 is left out: h5py is not installed.")
    other = sum(run(name, make, files, seed, folder) for name, make in makers.items())
    if other:
        print("Files that were not borne are in %s." % folder)
    else:
        (folder / "line").unlink()
        folder.rmdir()


if __name__ == "__main__":
    main()
