"""SEG-Y samples against segyio, a general library for seismic files.

Source: segyio 1.9.14, https://github.com/equinor/segyio. It refuses files that are cut or padded and decodes
IBM fractions that are not normalised otherwise than the format says; ObsPy stands for those.
"""

import numpy as np
import pytest
import segyio

from depthwright.files.segy import open_segy, write_segy

FORMATS = (1, 2, 3, 5, 6, 8, 9, 10, 11, 12, 16)
"""Those that segyio reads: it takes 24-bit integers (7, 15) for IBM floats."""


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("sample_format", FORMATS)
def test_segyio_reads_the_same_samples_and_headers(tmp_path, sample_format, byte_order):
    samples = np.abs(np.random.default_rng(6).normal(scale=25, size=(700, 60)).astype(np.float32))
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(700), 60.0, sample_format, byte_order)
    with segyio.open(str(path), strict=False, ignore_geometry=True, endian=byte_order) as file:
        expected = np.asarray(file.trace.raw[:], np.float32)
        source_x = file.attributes(segyio.TraceField.SourceX)[:]
    scan = open_segy(path)
    np.testing.assert_array_equal(scan.block(0, 700), expected)
    np.testing.assert_array_equal(np.rint(10 * scan.positions_mm), source_x)


@pytest.mark.parametrize("sample_format", FORMATS)
def test_long_blocks_hold_what_short_ones_do(tmp_path, sample_format):
    """segyio reads the long ones."""
    samples = np.abs(np.random.default_rng(7).normal(scale=25, size=(1200, 40)).astype(np.float32))
    path = tmp_path / "line.sgy"
    write_segy(path, samples, 0.05, 5.0 * np.arange(1200), 60.0, sample_format)
    scan = open_segy(path)
    short = np.concatenate([scan.block(first, first + 300) for first in range(0, 1200, 300)])
    np.testing.assert_array_equal(scan.block(0, 1200), short)
