"""How long a long line takes to open: 100,000 traces of 512 samples as SEG-Y, in a temporary folder.

Each with its ratio to segyio's bare read of all traces, in the same run and with the file in the page cache.
The picture waits for the first two steps; the check runs behind it, and saving waits for the check.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np
from timing import best_s

from depthwright.files.segy import open_segy, write_segy
from depthwright.intake import Survey, take_in
from depthwright.job import Job

TRACES, SAMPLES = 100_000, 512
DT_NS, SPACING_MM, FREQUENCY_GHZ = 0.02, 5.0, 2.0
DIRECT_NS = 1.0


def write_line(path):
    """A direct wave and noise in every trace."""
    late = np.arange(SAMPLES) * DT_NS - DIRECT_NS
    pulse = (1 - 2 * (np.pi * FREQUENCY_GHZ * late) ** 2) * np.exp(
        -((np.pi * FREQUENCY_GHZ * late) ** 2)
    )
    samples = np.random.default_rng(1).standard_normal((TRACES, SAMPLES), np.float32)
    samples *= 0.02
    samples += pulse.astype(np.float32)
    write_segy(path, samples, DT_NS, SPACING_MM * np.arange(TRACES), 40.0)


def main():
    try:
        import segyio
    except ImportError:
        sys.exit(
            "This benchmark measures against segyio: python3 packaging/bootstrap.py test first."
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.sgy"
        write_line(path)

        def bare():
            with segyio.open(str(path), strict=False, ignore_geometry=True) as file:
                return file.trace.raw[:]

        def taken_in():
            scan = open_segy(path)
            return take_in(Job(), scan, survey=Survey(scan).prepare(Job()))

        scan = open_segy(path)
        steps = (
            ("opened, a scan", lambda: open_segy(path)),
            ("opened and taken in, a line", taken_in),
            ("checked: hash, samples", scan.check),
            ("all blocks read", lambda: sum(len(block) for _, block in scan.blocks())),
            ("all read as one block", lambda: scan.block(0, scan.traces)),
        )
        size_mb = path.stat().st_size / 1e6
        reference = best_s(bare)
        print("segyio's bare read of %d traces, %.0f MB: %.3f s" % (TRACES, size_mb, reference))
        for name, step in steps:
            taken = best_s(step)
            print("%-28s %.3f s, %.2f times segyio's bare read" % (name, taken, taken / reference))


if __name__ == "__main__":
    main()
