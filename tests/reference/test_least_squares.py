"""The least-squares core against published fits and published propagations of uncertainty.

Sources, named again beside each check:

- JCGM 100:2008 (GUM), annex H.1 to H.3. Inputs of H.1 and H.3, and the rounded inputs of H.2, from the
  documentation of GTC, a general library for uncertainty (a secondary source); the readings of H.2 from
  memory.
- NIST Statistical Reference Datasets (StRD), certified values as printed by NIST; Norris from the copy of
  NIST's file in SciPy's own tests, the others from copies of NIST's files (a secondary source); Longley's
  data from memory, which the certified values confirm.
- Pearson's data with York's weights (York 1966, *Can. J. Phys.* 44, 1079; York et al. 2004,
  *Am. J. Phys.* 72, 367), data and results from memory.

Digits of the GUM's examples beyond those printed were computed with numpy apart from this project.

The core takes uncertainties as they are: where a source estimates them from the scatter, the checks
here multiply by sqrt(chi-square / degrees of freedom).
"""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from depthwright.depth.leastsquares import Fit, eliminate, gauss_newton, propagated
from depthwright.errors import DepthwrightError


def straight(design, observed, u=1.0) -> Fit:
    """A fit of a model that is linear in its unknowns, rows of one uncertainty."""
    design, observed = np.asarray(design, float), np.asarray(observed, float)

    def linearise(values):
        return (observed - design @ values) / u, design / u

    return gauss_newton(linearise, np.zeros(design.shape[1]))


def scatter(fit: Fit) -> float:
    """Standard deviation of the residuals, s."""
    rows, unknowns = fit.jacobian.shape
    return float(np.sqrt(fit.chi_square / (rows - unknowns)))


def correlations(covariance):
    u = np.sqrt(np.diag(covariance))
    return covariance / np.outer(u, u)


class TestGaugeBlockOfGumH1:
    """JCGM 100:2008, H.1: l = ls + d - ls (dalpha theta + alpha_s dtheta), lengths in nm."""

    # Standard, observed difference, comparator at random and systematic, the difference of the
    # expansions (1/K) and of the temperatures (K).
    u = np.array([25.0, 5.8, 3.9, 6.7, 1e-6 / np.sqrt(3), 0.05 / np.sqrt(3)])
    standard, expansion, temperature = 50_000_623.0, 11.5e-6, -0.1
    jacobian = np.array([[1.0, 1.0, 1.0, 1.0, -standard * temperature, -standard * expansion]])

    def test_its_components(self):
        each = np.sqrt(np.diag(propagated(np.diag(self.jacobian[0]), np.diag(self.u**2))))
        assert each == pytest.approx([25, 5.8, 3.9, 6.7, 2.88679, 16.599], abs=5e-4)

    def test_its_combined_standard_uncertainty(self):
        """32 nm in the GUM; 31.6639 to more digits, 1002.60 squared."""
        variance = propagated(self.jacobian, np.diag(self.u**2))
        assert variance.shape == (1, 1)
        assert variance[0, 0] == pytest.approx(1002.60, abs=0.006)
        assert np.sqrt(variance[0, 0]) == pytest.approx(31.6639, abs=6e-5)


class TestResistanceAndReactanceOfGumH2:
    """JCGM 100:2008, H.2: R = (V/I) cos phi, X = (V/I) sin phi, Z = V/I, inputs correlated."""

    @staticmethod
    def outputs(volts, amperes, phase, covariance):
        z = volts / amperes
        cos, sin = np.cos(phase), np.sin(phase)
        r, x = z * cos, z * sin
        jacobian = np.array(
            [
                [cos / amperes, -r / amperes, -x],
                [sin / amperes, -x / amperes, r],
                [1 / amperes, -z / amperes, 0.0],
            ]
        )
        return np.array([r, x, z]), propagated(jacobian, covariance)

    def test_from_the_readings(self):
        """Table H.2; means and their covariance. Printed: 127.732(71), 219.847(295), 254.260(236)
        (from memory)."""
        volts = [5.007, 4.994, 5.005, 4.990, 4.999]
        amperes = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000
        phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
        readings = np.array([volts, amperes, phase])
        values, covariance = self.outputs(*readings.mean(axis=1), np.cov(readings) / 5)
        assert values == pytest.approx([127.73217, 219.84651, 254.25970], abs=6e-6)
        assert np.sqrt(np.diag(covariance)) == pytest.approx(
            [0.071071, 0.295582, 0.236336], abs=6e-7
        )
        r = correlations(covariance)
        assert r[[0, 0, 1], [1, 2, 2]] == pytest.approx([-0.58843, -0.48526, 0.99251], abs=6e-6)

    def test_from_the_rounded_inputs(self):
        u = np.array([0.0032, 9.5e-6, 7.5e-4])
        r = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
        values, covariance = self.outputs(4.999, 0.019661, 1.04446, r * np.outer(u, u))
        assert values == pytest.approx([127.732, 219.85, 254.26], abs=0.0051)
        assert np.sqrt(np.diag(covariance)) == pytest.approx([0.070, 0.30, 0.24], abs=0.0051)
        found = correlations(covariance)
        assert found[[0, 0, 1], [1, 2, 2]] == pytest.approx([-0.59, -0.49, 0.99], abs=0.0051)


class TestThermometerOfGumH3:
    """JCGM 100:2008, H.3: a line through corrections of a thermometer, degrees Celsius."""

    temperature = np.array(
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    )
    correction = -np.array(
        [0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160]
    )

    def fit(self, reference=20.0, u=1.0):
        design = np.column_stack([np.ones(11), self.temperature - reference])
        return straight(design, self.correction, u)

    def test_the_line(self):
        """Printed: -0.1712(29), 0.00218(67), r = -0.930, s = 0.0035, SSR 1.10096583109e-4."""
        fit = self.fit()
        assert fit.chi_square == pytest.approx(1.10096583109e-4, rel=1e-11)
        assert scatter(fit) == pytest.approx(0.0034976, abs=6e-8)
        assert fit.values == pytest.approx([-0.17120379, 0.00218270], abs=6e-9)
        assert scatter(fit) * fit.u == pytest.approx([0.0028776, 0.00066794], rel=2e-5)
        assert correlations(fit.covariance)[0, 1] == pytest.approx(-0.930, abs=5.1e-4)

    def test_rows_of_the_scatters_uncertainty_need_no_factor(self):
        fit = self.fit(u=scatter(self.fit()))
        assert fit.chi_square == pytest.approx(9, rel=1e-12)
        assert fit.u == pytest.approx([0.0028776, 0.00066794], rel=2e-5)

    def test_its_prediction_at_30_degrees(self):
        """Printed: -0.1494(41)."""
        fit = self.fit()
        at_30 = np.array([[1.0, 10.0]])
        assert at_30 @ fit.values == pytest.approx([-0.1494], abs=5.1e-5)
        u = scatter(fit) * np.sqrt(propagated(at_30, fit.covariance)[0, 0])
        assert u == pytest.approx(0.0041386, abs=6e-8)

    def test_about_the_mean_temperature_the_two_are_not_correlated(self):
        fit = self.fit(self.temperature.mean())
        assert scatter(fit) * fit.u[0] == pytest.approx(0.0010546, abs=6e-8)
        assert correlations(fit.covariance)[0, 1] == pytest.approx(0.0, abs=1e-12)

    def test_a_systematic_shared_by_all_readings_widens_the_intercept_alone(self):
        """An extra unknown with the prior 0(0.005): GTC's documentation, 0.0057689 and 0.0006679."""
        s = scatter(self.fit())
        design = np.column_stack([np.ones(11), self.temperature - 20, np.ones(11)]) / s
        design = np.vstack([design, [0, 0, 1 / 0.005]])
        fit = straight(design, np.append(self.correction / s, 0))
        assert fit.u[:2] == pytest.approx([0.0057689, 0.0006679], abs=6e-8)
        assert fit.values == pytest.approx([-0.17120379, 0.00218270, 0], abs=6e-9)


NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3
449.1 448.6  778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0
448.9 447.5  10.8 11.6  557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3
0.6 0.3  557.6 556.8  339.3 339.1  888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3
228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""
"""Pairs of response and predictor."""

LONGLEY = """
60323 83.0 234289 2356 1590 107608 1947   61122 88.5 259426 2325 1456 108632 1948
60171 88.2 258054 3682 1616 109773 1949   61187 89.5 284599 3351 1650 110929 1950
63221 96.2 328975 2099 3099 112075 1951   63639 98.1 346999 1932 3594 113270 1952
64989 99.0 365385 1870 3547 115094 1953   63761 100.0 363112 3578 3350 116219 1954
66019 101.2 397469 2904 3048 117388 1955  67857 104.6 419180 2822 2857 118734 1956
68169 108.4 442769 2936 2798 120445 1957  66513 110.8 444546 4681 2637 121950 1958
68655 112.6 482704 3813 2552 123366 1959  69564 114.2 502601 3931 2514 125368 1960
69331 115.7 518173 4806 2572 127852 1961  70551 116.9 554894 4007 2827 130081 1962
"""
"""Response, then six predictors."""


class TestLinearFitsOfNist:
    def test_norris(self):
        response, predictor = np.array(NORRIS.split(), float).reshape(36, 2).T
        fit = straight(np.column_stack([np.ones(36), predictor]), response)
        assert fit.values == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)
        expected_u = [0.232818234301152, 0.429796848199937e-3]
        assert scatter(fit) * fit.u == pytest.approx(expected_u, rel=1e-12)
        assert scatter(fit) == pytest.approx(0.884796396144373, rel=1e-12)
        assert fit.chi_square == pytest.approx(26.6173985294224, rel=1e-12)

    @pytest.mark.parametrize(
        ("response", "predictor", "slope", "slope_u", "s"),
        [
            (
                np.arange(130, 141),
                np.arange(60, 71),
                2.07438016528926,
                0.0165289256198347,
                3.56753034006338,
            ),
            ([3, 4, 4], [4, 5, 6], 0.727272727272727, 0.0420827318078432, 0.369274472937998),
        ],
        ids=["NoInt1", "NoInt2"],
    )
    def test_lines_through_the_origin(self, response, predictor, slope, slope_u, s):
        fit = straight(np.reshape(predictor, (-1, 1)), response)
        assert fit.values == pytest.approx([slope], rel=1e-13)
        assert scatter(fit) * fit.u == pytest.approx([slope_u], rel=1e-12)
        assert scatter(fit) == pytest.approx(s, rel=1e-12)

    def test_longley(self):
        """Six predictors nearly in one plane: the condition number is 5e9 before the columns' scaling."""
        table = np.array(LONGLEY.split(), float).reshape(16, 7)
        fit = straight(np.column_stack([np.ones(16), table[:, 1:]]), table[:, 0])
        expected = [-3482258.63459582, 15.0618722713733, 1829.15146461355]
        assert fit.values[[0, 1, 6]] == pytest.approx(expected, rel=1e-9)
        assert scatter(fit) * fit.u[0] == pytest.approx(890420.383607373, rel=1e-9)
        assert scatter(fit) == pytest.approx(304.854073561965, rel=1e-11)


class TestMisra1OfNist:
    """Dental research in monomolecular adsorption: volume against pressure, three models."""

    volume, pressure = (
        np.array(column.split(), float)
        for column in (
            "10.07 14.73 17.94 23.93 29.61 35.18 40.02 44.82 50.76 55.05 61.01 66.40 75.47 81.78",
            "77.6 114.9 141.1 190.8 239.9 289.0 332.8 378.4 434.8 477.3 536.8 593.1 689.1 760.0",
        )
    )

    @staticmethod
    def exponential(x, b):
        """Misra1a: 1 - exp(-b x), and its derivative with b."""
        return 1 - np.exp(-b * x), x * np.exp(-b * x)

    @staticmethod
    def square(x, b):
        """Misra1b: 1 - (1 + b x / 2)^-2."""
        return 1 - (1 + b * x / 2) ** -2, x * (1 + b * x / 2) ** -3

    @staticmethod
    def root(x, b):
        """Misra1c: 1 - (1 + 2 b x)^-1/2."""
        return 1 - (1 + 2 * b * x) ** -0.5, x * (1 + 2 * b * x) ** -1.5

    @pytest.mark.parametrize("start", [0, 1])
    @pytest.mark.parametrize(
        ("model", "starts", "values", "u", "residual_sum"),
        [
            pytest.param(
                "exponential",
                [(500, 1e-4), (250, 5e-4)],
                [2.3894212918e2, 5.5015643181e-4],
                [2.7070075241, 7.2668688436e-6],
                1.2455138894e-1,
                id="Misra1a",
            ),
            pytest.param(
                "square",
                [(500, 1e-4), (300, 2e-4)],
                [3.3799746163e2, 3.9039091287e-4],
                [3.1643950207, 4.2547321834e-6],
                7.5464681533e-2,
                id="Misra1b",
            ),
            pytest.param(
                "root",
                [(500, 1e-4), (600, 2e-4)],
                [6.3642725809e2, 2.0813627256e-4],
                [4.6638326572, 1.7728423155e-6],
                4.0966836971e-2,
                id="Misra1c",
            ),
        ],
    )
    def test_from_both_starts(self, model, starts, values, u, residual_sum, start):
        def linearise(b):
            shape, slope = getattr(self, model)(self.pressure, b[1])
            return self.volume - b[0] * shape, np.column_stack([shape, b[0] * slope])

        fit = gauss_newton(linearise, np.array(starts[start], float))
        # Eleven significant digits are printed.
        assert fit.values == pytest.approx(values, rel=1e-10)
        assert scatter(fit) * fit.u == pytest.approx(u, rel=1e-10)
        assert fit.chi_square == pytest.approx(residual_sum, rel=1e-10)


@pytest.mark.parametrize("start", [2.0, -5.0, 50.0])
def test_steps_that_overshoot_are_shortened(start):
    """The arc tangent, whose full steps run away from beyond 1.3917 (Dennis and Schnabel, from memory)."""

    def linearise(value):
        return -np.arctan(value), (1 / (1 + value**2))[:, None]

    assert gauss_newton(linearise, np.array([start])).values == pytest.approx([0.0], abs=1e-9)


class TestBothAxesUncertain:
    """Pearson's data, York's weights: a line a + b x, each point with a true x of its own."""

    across = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    up = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    across_u = 1 / np.sqrt([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
    up_u = 1 / np.sqrt([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])

    def private_rows(self, line):
        """Own and shared derivatives and residuals, each point's true x at its best."""
        a, b = line
        weight_x, weight_y = self.across_u**-2, self.up_u**-2
        true = (weight_x * self.across + weight_y * b * (self.up - a)) / (
            weight_x + weight_y * b**2
        )
        zero = np.zeros(10)
        own = np.column_stack([1 / self.across_u, b / self.up_u])
        by_a = np.column_stack([zero, 1 / self.up_u])
        by_b = np.column_stack([zero, true / self.up_u])
        residual = np.column_stack(
            [(self.across - true) / self.across_u, (self.up - a - b * true) / self.up_u]
        )
        return own, np.stack([by_a, by_b], axis=2), residual

    def reduced(self, line):
        shared, residual = eliminate(*self.private_rows(line))
        return residual.ravel(), shared.reshape(-1, 2)

    @pytest.mark.parametrize("start", [(5.0, -0.4), (0.0, 0.0), (10.0, 1.0)])
    def test_york(self, start):
        fit = gauss_newton(self.reduced, np.array(start))
        assert fit.values == pytest.approx([5.479910224, -0.480533407], abs=6e-10)
        assert fit.chi_square == pytest.approx(11.8663532, abs=6e-8)
        assert fit.u == pytest.approx([0.29497, 0.057985], rel=2e-5)

    def test_a_dense_fit_of_all_twelve_unknowns_says_the_same(self):
        def linearise(values):
            a, b, true = values[0], values[1], values[2:]
            residual = np.append(
                (self.across - true) / self.across_u, (self.up - a - b * true) / self.up_u
            )
            jacobian = np.zeros((20, 12))
            jacobian[10:, 0] = 1 / self.up_u
            jacobian[10:, 1] = true / self.up_u
            jacobian[:10, 2:] = np.diag(1 / self.across_u)
            jacobian[10:, 2:] = np.diag(b / self.up_u)
            return residual, jacobian

        dense = gauss_newton(linearise, np.concatenate([[5.0, -0.4], self.across]))
        fit = gauss_newton(self.reduced, np.array([5.0, -0.4]))
        assert fit.values == pytest.approx(dense.values[:2], rel=1e-8)
        assert fit.covariance == pytest.approx(dense.covariance[:2, :2], rel=1e-7)
        assert fit.chi_square == pytest.approx(dense.chi_square, rel=1e-12)


@st.composite
def arrows(draw):
    """Items with a private unknown each, and unknowns that all share; whitened, linear, drawn by seed."""
    rows, unknowns = draw(st.integers(2, 5)), draw(st.integers(1, 3))
    items = draw(st.integers(unknowns + 2, 12))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    # A private unknown may hardly show in a row, or be missing from it, the first one too.
    own = rng.normal(size=(items, rows)) * 10 ** rng.uniform(-9, 0, size=(items, rows))
    own[rng.random((items, rows)) < 0.2] = 0.0
    own[:, -1] += np.where(own[:, -1] == 0, 1.0, 0.0)
    own *= 10 ** rng.uniform(-6, 6, size=(items, 1))
    shared = rng.normal(size=(items, rows, unknowns)) * 10 ** rng.uniform(-9, 9, size=unknowns)
    residual = rng.normal(size=(items, rows))
    for array in (own, shared, residual):
        array.flags.writeable = False
    return own, shared, residual


def dense(own, shared, residual):
    """Answer and covariance of the shared unknowns by numpy's least squares on all unknowns at once."""
    items, rows, unknowns = shared.shape
    full = np.zeros((items * rows, unknowns + items))
    full[:, :unknowns] = shared.reshape(-1, unknowns)
    for item in range(items):
        full[item * rows : (item + 1) * rows, unknowns + item] = own[item]
    scale = np.linalg.norm(full, axis=0)
    full = full / scale
    assume(np.linalg.cond(full) < 1e5)
    answer = np.linalg.lstsq(full, residual.ravel(), rcond=None)[0]
    inverse = np.linalg.pinv(full)
    left = residual.ravel() - full @ answer
    covariance = inverse @ inverse.T / np.outer(scale, scale)
    return (answer / scale)[:unknowns], covariance[:unknowns, :unknowns], left @ left


@given(arrows())
def test_a_private_unknown_taken_out_changes_nothing_for_the_shared(arrow):
    """Source of the comparison: numpy.linalg.lstsq and pinv (LAPACK) with every unknown kept."""
    values, covariance, chi_square = dense(*arrow)
    shared, residual = eliminate(*arrow)
    unknowns = shared.shape[2]
    assert shared.shape == (arrow[1].shape[0], arrow[1].shape[1] - 1, unknowns)
    fit = straight(shared.reshape(-1, unknowns), residual.ravel())
    u = np.sqrt(np.diag(covariance))
    assert fit.values / u == pytest.approx(values / u, abs=1e-7)
    assert fit.covariance / np.outer(u, u) == pytest.approx(covariance / np.outer(u, u), abs=1e-8)
    assert fit.chi_square == pytest.approx(chi_square, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    "design",
    [
        pytest.param([[1, 2], [2, 4], [3, 6]], id="two unknowns that act as one"),
        pytest.param([[1, 0], [2, 0], [3, 0]], id="an unknown in no row"),
        pytest.param([[1, 2, 3], [1, 0, 1]], id="fewer rows than unknowns"),
        pytest.param([[1, 1e-9, 1], [1, 0, 1], [1, 0, 1]], id="one row for two of three"),
    ],
)
def test_what_the_rows_do_not_determine_is_told_in_a_sentence(design):
    with pytest.raises(DepthwrightError, match=r"^The evidence does not determine .*\.") as told:
        straight(design, np.ones(len(design)))
    assert told.value.hint.endswith(".")


def test_an_offset_of_time_and_a_radius_cannot_be_told_apart_by_a_shortcut_of_the_path():
    """Way to the bar's centre less the radius: only t0 - 2R/v and d + R appear; a prior settles it."""
    offset_mm, v = np.linspace(-150, 150, 61), 119.917

    def linearise(values):
        t0, cover, radius = values
        centre = np.hypot(offset_mm, cover + radius)
        down = (cover + radius) / centre
        model = t0 + 2 * (centre - radius) / v
        jacobian = np.column_stack([np.ones(61), 2 * down / v, 2 * (down - 1) / v])
        observed = 0.05 + 2 * (np.hypot(offset_mm, 58.0) - 8.0) / v
        return (observed - model) / 0.01, jacobian / 0.01

    with pytest.raises(DepthwrightError, match="does not determine"):
        gauss_newton(linearise, np.array([0.0, 45.0, 5.0]))

    def with_prior(values):
        residual, jacobian = linearise(values)
        prior = np.append(residual, (8.0 - values[2]) / 0.5)
        return prior, np.vstack([jacobian, [0, 0, 1 / 0.5]])

    fit = gauss_newton(with_prior, np.array([0.0, 45.0, 5.0]))
    assert fit.values == pytest.approx([0.05, 50.0, 8.0], abs=1e-6)
    assert fit.u[2] == pytest.approx(0.5, rel=1e-9)
