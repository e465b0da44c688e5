"""Computes ``layered_earth.json``: fields of a layered earth by a program that is not this project.

The plane-wave response of the layers comes from **empymod** (general layered-earth modeller; Werthmüller
2017, Geophysics 82, WB9), its ``kernel.wavenumber``, which its manual offers for direct use. Its own
quadrature interpolates that response over the wavenumber, which without loss fails at the branch
points; here Gauss-Legendre panels end on them, and are first checked against ``empymod.dipole``
where loss makes both exact.

Run by hand (ten seconds), apart from the project: ``pip install empymod==2.6.1``, then
``python tests/reference/make_layered_earth.py``. The tests read the stored numbers only.
"""

import datetime
import itertools
import json
from pathlib import Path

import empymod
import numpy as np
from empymod import kernel
from scipy.constants import c, epsilon_0, mu_0
from scipy.special import j0, j1

ABOVE_BELOW = 22
"""empymod's name for the y-component of the field of a y-directed electric dipole."""
GAUSS = np.polynomial.legendre.leggauss(16)
LOSSLESS_OHM_M = 1e12
SLAB_OHM_M = 200.0
"""A little loss (5 mS/m), so that waves caught in the slab die out."""

DT_NS, SAMPLES, T_REF_NS = 0.02, 500, 2.0
PERIOD_NS = 40.0
HALF_SPACES = [
    # separation mm, echo's peak frequency GHz, height mm, permittivity
    (40.0, 2.0, 3.333, 7.0),
    (50.0, 1.8, 3.333, 8.0),
    (60.0, 1.6, 3.333, 10.2),
    (60.0, 1.6, 8.0, 6.0),
    (30.0, 2.6, 2.0, 5.0),
]
SLABS = [
    # thickness mm, permittivity; separation, frequency and height below
    (150.0, 6.0),
    (175.0, 6.5),
    (200.0, 7.0),
    (225.0, 8.0),
    (250.0, 9.0),
]
SLAB_PAIR = (50.0, 1.8, 5.0)


def panels(edges):
    """Nodes and weights of Gauss-Legendre panels between edges."""
    half, middle = np.diff(edges)[:, None] / 2, (edges[1:] + edges[:-1])[:, None] / 2
    return (middle + half * GAUSS[0]).ravel(), (half * GAUSS[1]).ravel()


def wavenumber_rule(branch_points, top):
    """Nodes and weights from 0 to ``top``, square-root singularities at the branch points removed."""
    nodes, weights = [], []
    stops = [0.0, *branch_points]
    for low, high in itertools.pairwise(stops):
        angle, weight = panels(np.linspace(0, np.pi, 121))
        nodes.append((low + high) / 2 - (high - low) / 2 * np.cos(angle))
        weights.append(weight * (high - low) / 2 * np.sin(angle))
    root, weight = panels(np.linspace(0, np.sqrt(top - stops[-1]), 401))
    return (
        np.concatenate([*nodes, stops[-1] + root**2]),
        np.concatenate([*weights, 2 * root * weight]),
    )


def reflected(frequency_ghz, separation_mm, height_mm, depths_mm, ohm_m, permittivity):
    """What the layers add to the field of the dipole in boundless air, V/m for 1 A m, one frequency."""
    omega = 2e9 * np.pi * frequency_ghz
    s, h = separation_mm / 1e3, height_mm / 1e3
    eps, rho = np.array(permittivity, float), np.array(ohm_m, float)
    eta = (1 / rho + 1j * omega * epsilon_0 * eps)[None]
    zeta = np.full_like(eta, 1j * omega * mu_0)
    lam, weight = wavenumber_rule(omega / c * np.sqrt(np.unique(eps)), 45 / (2 * h) + 3 * omega / c)
    depth = np.concatenate([[-np.inf], np.array(depths_mm, float) / 1e3])
    order_0, order_1, order_0b = kernel.wavenumber(
        -h, -h, 0, 0, depth, eta, eta, zeta, zeta, lam[None], ABOVE_BELOW, True, False, False
    )
    turn = kernel.angle_factor(np.array([0.0]), ABOVE_BELOW, False, False)[0]
    bessel_0, bessel_1 = j0(lam * s), j1(lam * s)
    return weight @ (
        (order_0[0, 0] + turn * order_0b[0, 0]) * bessel_0 + turn * order_1[0, 0] / s * bessel_1
    )


def in_air(frequency_ghz, separation_mm):
    """Field of the dipole in boundless air, by empymod's closed form."""
    return complex(
        empymod.dipole(
            [0, 0, 0], [separation_mm / 1e3, 0, 0], [], [LOSSLESS_OHM_M], frequency_ghz * 1e9,
            epermH=[1], ab=ABOVE_BELOW, xdirect=True, verb=1,
        )
    )  # fmt: skip


def check_quadrature():
    """Relative difference of the panels from empymod's own quadrature, air and concrete of 50 ohm m."""
    place = {"src": [0, 0, -0.01], "rec": [0.05, 0, -0.01], "freqtime": 1.5e9, "ab": ABOVE_BELOW}
    fine = {"rtol": 1e-8, "atol": 1e-12, "limit": 5000, "a": 1e-2, "b": 3000, "pts_per_dec": 20000}
    over = empymod.dipole(
        **place, depth=[0], res=[50, 50], epermH=[1, 7], xdirect=True, ht="quad", htarg=fine, verb=1
    )
    alone = empymod.dipole(**place, depth=[], res=[50], epermH=[1], xdirect=True, verb=1)
    return abs(reflected(1.5, 50.0, 10.0, [0], [50, 50], [1, 7]) / (over - alone) - 1)


def trace(frequencies, fields, peak_ghz):
    """Trace for a Ricker current whose far field, its derivative, peaks at ``peak_ghz``; V/m.

    An echo of no travelled distance has its envelope maximum at T_REF_NS.
    """
    squared = (frequencies / peak_ghz) ** 2 * 1.5
    current = squared * np.exp(-squared)
    turn = np.exp(2j * np.pi * np.outer(np.arange(SAMPLES) * DT_NS - T_REF_NS, frequencies))
    return np.real(turn @ (fields * current))


def rounded(values, digits):
    return [float(f"{value:.{digits}g}") for value in values]


def stored(samples):
    """Samples scaled to a greatest of 1, five decimals."""
    return [round(float(value), 5) + 0.0 for value in samples / np.abs(samples).max()]


def band(peak_ghz):
    return np.arange(1, int(3.6 * peak_ghz * PERIOD_NS)) / PERIOD_NS


def half_space(separation, peak, height, eps):
    frequencies = band(peak)
    layers = ([0.0], [LOSSLESS_OHM_M] * 2, [1.0, eps])
    added = np.array([reflected(f, separation, height, *layers) for f in frequencies])
    fields = added + np.array([in_air(f, separation) for f in frequencies])
    some = slice(3, None, 12)
    return {
        "separation_mm": separation,
        "height_mm": height,
        "permittivity": eps,
        "peak_frequency_ghz": peak,
        "frequency_ghz": rounded(frequencies[some], 6),
        "field_re": rounded(fields[some].real, 9),
        "field_im": rounded(fields[some].imag, 9),
        "trace": stored(trace(frequencies, fields, peak)),
    }


def back_face(thickness, eps):
    separation, peak, height = SLAB_PAIR
    frequencies = band(peak)
    slab = ([0.0, thickness], [LOSSLESS_OHM_M, SLAB_OHM_M, LOSSLESS_OHM_M], [1.0, eps, 1.0])
    bare = ([0.0], [LOSSLESS_OHM_M, SLAB_OHM_M], [1.0, eps])
    echo = np.array(
        [
            reflected(f, separation, height, *slab) - reflected(f, separation, height, *bare)
            for f in frequencies
        ]
    )
    return {
        "thickness_mm": thickness,
        "permittivity": eps,
        "separation_mm": separation,
        "height_mm": height,
        "peak_frequency_ghz": peak,
        "trace": stored(trace(frequencies, echo, peak)),
    }


def main():
    difference = float(check_quadrature())
    assert difference < 1e-6, difference
    out = {
        "provenance": {
            "program": f"empymod {empymod.__version__}",
            "script": "tests/reference/make_layered_earth.py",
            "date": datetime.date.today().isoformat(),
            "quadrature_against_empymod": float(f"{difference:.1e}"),
            "field": "E_y of a y-directed dipole, V/m for 1 A m, exp(+j omega t), broadside in air",
            "traces": "Ricker current whose derivative peaks at peak_frequency_ghz; greatest is 1",
            "slab_ohm_m": SLAB_OHM_M,
        },
        "dt_ns": DT_NS,
        "t_ref_ns": T_REF_NS,
        "half_spaces": [half_space(*case) for case in HALF_SPACES],
        "back_faces": [back_face(*case) for case in SLABS],
    }
    lines = json.dumps(out, separators=(",", ":")).replace(',"', ',\n"').replace("{", "{\n")
    Path(__file__).with_name("layered_earth.json").write_text(lines + "\n")


if __name__ == "__main__":
    main()
