"""SEG-Y against ObsPy, a general library for seismology with its own SEG-Y code.

Source: ObsPy 1.5.1, https://obspy.org, ``obspy.io.segy``.
"""

import warnings
from types import ModuleType

import numpy as np
import pytest

from depthwright.files.segy import read_segy, write_segy
from depthwright.job import Given

WRITABLE_BY_OBSPY = {1: np.float32, 2: np.int32, 3: np.int16, 5: np.float32}
READ_BY_OBSPY = (1, 2, 3, 5)


@pytest.fixture(scope="module")
def obspy() -> ModuleType:
    with warnings.catch_warnings():
        # ObsPy looks up its plug-ins in a way that the standard library has since deprecated.
        warnings.filterwarnings("ignore", "SelectableGroups dict", DeprecationWarning)
        import obspy.io.segy.segy

    return obspy


def line():
    return np.random.default_rng(11).normal(scale=300, size=(30, 77)).astype(np.float32)


@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("sample_format", READ_BY_OBSPY)
def test_obspy_reads_what_is_written_here(obspy, tmp_path, sample_format, byte_order):
    path = tmp_path / "line.sgy"
    positions = 12.5 + 2.5 * np.arange(30)
    write_segy(path, line(), 0.0198, positions, 60.0, sample_format, byte_order, "INVENTED LINE")
    file = obspy.io.segy.segy._read_segy(str(path), unpack_headers=True)
    samples = np.array([trace.data for trace in file.traces])
    np.testing.assert_array_equal(samples.astype(np.float32), read_segy(path).block(0, 30))
    expected = line() if sample_format in (1, 5) else np.rint(line())
    np.testing.assert_allclose(samples, expected, rtol=2.0**-21)
    assert b"INVENTED LINE" in file.textual_file_header
    binary = file.binary_file_header
    assert binary.sample_interval_in_microseconds == 20  # the field: picoseconds in it
    assert binary.number_of_samples_per_data_trace == 77
    assert binary.data_sample_format_code == sample_format
    for number, trace in enumerate(file.traces):
        header = trace.header
        assert header.trace_sequence_number_within_line == number + 1
        assert header.scalar_to_be_applied_to_all_coordinates == -10
        assert header.source_coordinate_x == 10 * positions[number]
        assert header.group_coordinate_x == 10 * positions[number]
        assert header.x_coordinate_of_ensemble_position_of_this_trace == 10 * positions[number]
        assert header.sample_interval_in_ms_for_this_trace == 20
        assert header.number_of_samples_in_this_trace == 77
        assert (
            header.distance_from_center_of_the_source_point_to_the_center_of_the_receiver_group
            == 60
        )


@pytest.mark.filterwarnings("ignore:CREATING TRACE HEADER:UserWarning")  # ObsPy says so each time
@pytest.mark.parametrize("byte_order", [">", "<"])
@pytest.mark.parametrize("sample_format", WRITABLE_BY_OBSPY)
def test_what_obspy_writes_is_read_here(obspy, tmp_path, sample_format, byte_order):
    samples = line().astype(WRITABLE_BY_OBSPY[sample_format])
    stream = obspy.Stream([obspy.Trace(row, {"delta": 5e-5}) for row in samples])
    path = tmp_path / "line.sgy"
    stream.write(str(path), format="SEGY", data_encoding=sample_format, byteorder=byte_order)
    scan = read_segy(path, Given(trace_spacing_mm=5.0))
    assert scan.dt_ns == 0.05  # 50 in a field of microseconds: read as picoseconds
    # ObsPy cuts IBM fractions off where it could round: up to one unit of at least 21 bits.
    np.testing.assert_allclose(scan.block(0, 30), samples, rtol=2.0**-20)
