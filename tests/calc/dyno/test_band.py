"""The shop can rely on it that the threshold of a band is what the theory of random fields says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from app.calc.dyno.band import Field, PooledDof, exceedance, field_of, pooled_dof, threshold
from app.calc.dyno.noise_structure import LAGS, Structure
from tests.calc.dyno.statistics_cases import CASES

BANDS = CASES["simultaneous_bands"]


def _independent(points: int, dof: float) -> Field:
    return Field(dof, 0.0, np.pi / 2, points - 1, 0.0, 1.0)


@pytest.mark.parametrize("row", [r for r in BANDS["tGKF"]["values"] if r["L1"] == 0 or r["nu"] > 4])
def test_smooth_fields_give_the_gaussian_kinematic_threshold(row: dict[str, float]) -> None:
    """data/statistics.json, simultaneous_bands, tGKF: Telschow and Schwartzman, arXiv 1901.06386. The formula counts
    crossings one by one, so without clumps it is the limit here; at 8 degrees of freedom they differ by 2 %."""
    pairs = 400
    angle = row["L1"] / pairs
    # Variance of the standard deviation's step of a t field whose variance is estimated point by point.
    field = Field(row["nu"], 0.0, angle, pairs, angle**2 / row["nu"], 1e4)
    assert threshold(field) == pytest.approx(row["c"], rel=0.02)


@pytest.mark.parametrize("row", BANDS["sidak_normal"])
def test_independent_points_give_sidaks_threshold(row: dict[str, float]) -> None:
    """data/statistics.json, simultaneous_bands: 1 − (1 − α)^(1/m) for a known variance."""
    field = _independent(int(row["m"]), 1e6)
    assert threshold(field) == pytest.approx(row["c"], rel=2e-3)


@pytest.mark.parametrize("dof", [1.0, 2.0, 4.0, 18.0, 200.0])
@pytest.mark.parametrize("level", [0.0, 0.5, 0.98])
def test_a_pure_level_error_gives_students_t(dof: float, level: float) -> None:
    field = Field(dof, level, 0.0, 199, 0.0, 1.0)
    assert threshold(field) == pytest.approx(stats.t.ppf(0.975, dof), rel=0.012)


@pytest.mark.parametrize(("m", "dof"), [(10, 4), (50, 4), (50, 18)])
def test_one_variance_for_independent_points_lies_below_bonferroni(m: int, dof: int) -> None:
    """data/statistics.json, simultaneous_bands, bonferroni_t; the studentised maximum by integration."""
    bound = next(r["c"] for r in BANDS["bonferroni_t"] if (r["m"], r["df"]) == (m, dof))
    found = threshold(_independent(m, dof))
    assert stats.t.ppf(0.975, dof) < found < bound

    def missed(s: float) -> float:
        inside = (2.0 * stats.norm.cdf(found * s) - 1.0) ** m
        return float((1.0 - inside) * 2.0 * s * dof * stats.chi2.pdf(dof * s * s, dof))

    assert integrate.quad(missed, 0.0, 6.0, limit=200)[0] == pytest.approx(0.05, rel=0.02)


def test_correlated_points_miss_as_often_as_simulated() -> None:
    """An autoregressive field, known variance: exceedance by 200 000 simulated curves. Crossings come in clumps that
    the count of single crossings does not know, so it may be too high, but never too low."""
    draw = np.random.default_rng(8)
    correlation, points, u = 0.8, 60, 2.9
    values = draw.standard_normal(200_000)
    left = np.abs(values) > u
    for _ in range(points - 1):
        values = correlation * values + np.sqrt(1.0 - correlation**2) * draw.standard_normal(values.size)
        left |= np.abs(values) > u
    field = Field(1e6, 0.0, float(np.arccos(correlation)), points - 1, 0.0, 1.0)
    assert left.mean() * 0.99 <= exceedance(u, field) <= left.mean() * 1.09


def test_level_and_rough_noise_together_miss_as_often_as_simulated() -> None:
    draw = np.random.default_rng(9)
    level, points, u = 0.8, 50, 2.6
    common = np.sqrt(level) * draw.standard_normal((100_000, 1))
    values = common + np.sqrt(1.0 - level) * draw.standard_normal((100_000, points))
    missed = (np.abs(values) > u).any(axis=1).mean()
    field = Field(1e6, level, np.pi / 2, points - 1, 0.0, 1.0)
    assert exceedance(u, field) == pytest.approx(missed, rel=0.04)


def _structure(correlation: np.ndarray, dof: float) -> Structure:
    lags = tuple(float(v) for v in correlation)
    return Structure(lags, 0.0, (1.0 - lags[1],) * 5, 1.0, 1.0, 1.0, dof)


def test_averaging_adds_degrees_of_freedom_only_where_noise_is_rough() -> None:
    rough = pooled_dof(_structure(np.eye(1, LAGS)[0], 1e3), [4.0])
    level = pooled_dof(_structure(np.ones(LAGS), 1e3), [4.0])
    assert rough.by_variance == pytest.approx(4.0 * 17.0)
    assert level.by_variance == pytest.approx(4.0)
    assert level.at(4.0) == pytest.approx(4.0, rel=1e-6)


def test_the_match_at_the_threshold_is_the_laplace_transform_of_a_weighted_sum() -> None:
    """E exp(−u²S²/2) of S² = Σ λ χ²_ν/ν, by simulation and by the matched χ²."""
    draw = np.random.default_rng(10)
    modes, dofs, u = np.array([0.6, 0.3, 0.1]), np.array([4.0, 2.0, 9.0]), 3.0
    square = (draw.chisquare(dofs, (400_000, 3)) / dofs) @ modes
    estimate = PooledDof(4.0, 0.0, modes, dofs, np.ones(LAGS), 1.0)
    matched = estimate.at(u)
    assert np.exp(-u * u * square / 2.0).mean() == pytest.approx((1.0 + u * u / matched) ** (-matched / 2.0), rel=0.03)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.99])
def test_unequal_variances_of_level_noise_have_the_degrees_of_freedom_of_welch(share: float) -> None:
    """Welch, Biometrika 34 (1947) 28, and Satterthwaite, Biometrics Bull. 2 (1946) 110: ν = 1/Σ(share²/ν). At a
    threshold a small estimate does the harm, and the weak χ² keeps the sum from being small: there are more of them."""
    found = pooled_dof(_structure(np.ones(LAGS), 1e3), [2.0, 2.0], [share, 1.0 - share])
    welch = 1.0 / (share**2 / 2.0 + (1.0 - share) ** 2 / 2.0)
    assert found.by_variance == pytest.approx(welch)
    assert found.at(0.01) == pytest.approx(welch, rel=0.01)
    assert welch - 0.01 <= found.at(3.5) <= 4.01


def test_fields_from_more_pulls_have_lower_thresholds() -> None:
    lags = np.exp(-0.5 * (np.arange(LAGS) / 10.0) ** 2)
    structure = _structure(lags, 50.0)
    found = [threshold(field_of(structure, 200, dof, 0.0, 1.0)) for dof in (2.0, 4.0, 8.0, 30.0, 1000.0)]
    assert found == sorted(found, reverse=True)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(1.0, 500.0),
    st.floats(0.0, 0.98),
    st.floats(0.0, np.pi / 2),
    st.integers(1, 400),
    st.floats(1.0, 50.0),
    st.floats(0.001, 0.3),
)
def test_any_field_is_solved(dof: float, level: float, angle: float, pairs: int, clumps: float, alpha: float) -> None:
    field = Field(dof, level, angle, pairs, 0.0, clumps)
    u = threshold(field, alpha)
    assert exceedance(u, field) == pytest.approx(alpha, rel=0.02)
    assert u >= stats.t.ppf(1.0 - alpha / 2.0, dof) * 0.97
