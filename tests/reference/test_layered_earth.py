"""The direct wave and a back face against an independent layered-earth program.

Source: empymod 2.6.1 (general layered-earth modeller; Werthmüller 2017, Geophysics 82, WB9), its fields
stored in ``layered_earth.json`` by ``make_layered_earth.py`` beside this file.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth.direct_wave import direct_shift
from depthwright.measuring.timezero import centre_frequency_ghz, find_direct_wave
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.scan import scan_from_array
from depthwright.simulate.dipole import direct_wave, free_space

STORED = json.loads(Path(__file__).with_name("layered_earth.json").read_text(encoding="utf-8"))
MU_0 = 4e-7 * np.pi


def case_name(case):
    return f"{case.get('thickness_mm', case['separation_mm']):g} mm, eps {case['permittivity']:g}"


half_spaces = pytest.mark.parametrize("case", STORED["half_spaces"], ids=case_name)
back_faces = pytest.mark.parametrize("case", STORED["back_faces"], ids=case_name)


@half_spaces
def test_the_field_over_a_half_space_agrees(case):
    """Within 5e-7 of the field in air alone, at all frequencies of the pulse."""
    frequency = np.array(case["frequency_ghz"])
    # V/m for 1 A m, from 1/mm.
    unit = -1j * 1e3 * 2e9 * np.pi * frequency * MU_0 / (4 * np.pi)
    ours = unit * direct_wave(
        frequency, case["separation_mm"], case["height_mm"], case["permittivity"]
    )
    theirs = np.array(case["field_re"]) + 1j * np.array(case["field_im"])
    in_air = unit * free_space(frequency, case["separation_mm"])
    assert np.abs((ours - theirs) / in_air).max() < 5e-7


@half_spaces
def test_the_shift_is_that_of_the_stored_direct_wave(case):
    """Frequency and peak as the program reads them on a line; within 3 ps."""
    scan = scan_from_array(np.array(case["trace"])[None], STORED["dt_ns"])
    frequency = centre_frequency_ghz(scan)
    peak_ns = find_direct_wave(scan, frequency).time_ns
    found_ns = peak_ns - STORED["t_ref_ns"] - case["separation_mm"] / C_MM_PER_NS
    shift = direct_shift(case["separation_mm"], case["height_mm"], case["permittivity"], frequency)
    assert shift.time_ns == pytest.approx(found_ns, abs=0.003)


@back_faces
def test_the_back_face_is_read_where_it_is(case):
    """Thickness from the envelope's peak, refracted from the antennas' height: within 1 %."""
    around = envelope(np.array(case["trace"], dtype=np.float32)[None])
    peak_ns = refine_peak(around, around.argmax(axis=1))[0] * STORED["dt_ns"]
    thickness = wave.depth_mm(
        peak_ns - STORED["t_ref_ns"],
        case["permittivity"],
        case["separation_mm"],
        case["height_mm"],
    )
    assert thickness == pytest.approx(case["thickness_mm"], rel=0.01)
