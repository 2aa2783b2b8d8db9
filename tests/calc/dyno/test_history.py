"""The shop can rely on it that a dyno's past is worth as much as it can honestly be for the next session."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import polygamma

from app.calc.dyno.history import POSITIONS, Spread, _inverse_trigamma, pooled_history, spread_of
from app.calc.dyno.noise_structure import merged, pooled_variance, structure_of
from tests.calc.dyno.simulated_pulls import KINDS, RELATIVE_NOISE, SPEED, noise


def _spreads(kind: str, sessions: int, *, spread: float = 0.0, seed: int = 1, pulls: int = 4) -> list[Spread]:
    draw = np.random.default_rng(seed)
    found = []
    for scale in np.exp(spread * draw.standard_normal(sessions)):
        residuals = RELATIVE_NOISE * scale * noise(draw, kind, pulls)
        one = spread_of(residuals - residuals.mean(axis=0))
        assert one is not None
        found.append(one)
    return found


def test_pooling_weighs_by_degrees_of_freedom() -> None:
    """ISO 5725-2: s² = Σ(nᵢ−1)sᵢ² / Σ(nᵢ−1)."""
    found = pooled_history([Spread(4e-6, 1e-6, 2), Spread(1e-6, 4e-6, 6)])
    assert found is not None
    assert found.level_variance == pytest.approx((2 * 4e-6 + 6 * 1e-6) / 8)
    assert found.shape_variance == pytest.approx((2 * 1e-6 + 6 * 4e-6) / 8)
    assert (found.dof, found.sessions) == (8, 2)


def test_level_and_shape_add_up_to_the_variance_of_a_point() -> None:
    (one,) = _spreads("mixed", 1)
    assert one.level_variance + one.shape_variance == pytest.approx(np.mean(one.profile), rel=1e-9)


def test_noise_that_grows_is_kept_where_it_grows() -> None:
    found = pooled_history(_spreads("growing", 60))
    assert found is not None
    along = found.variance_along(SPEED.size)
    # Standard deviation 3 at the start against 1 at the end, averaged over the first of 24 parts: 7.4 in variance.
    assert along[0] / along[-40:].mean() == pytest.approx(7.4, rel=0.25)


def test_sessions_alike_are_worth_more_than_sessions_that_differ() -> None:
    alike = pooled_history(_spreads("ripple", 30))
    apart = pooled_history(_spreads("ripple", 30, spread=0.5))
    assert alike is not None and apart is not None
    assert alike.between_dof > 4 * apart.between_dof
    # A standard deviation of log s of 0.5 is one of log s² of 1: trigamma(d/2) = 1 gives d = 2.85 (digamma tables).
    assert 1.5 < apart.between_dof < 8.0


def test_few_sessions_claim_little() -> None:
    worth = [pooled_history(_spreads("ripple", sessions)) for sessions in (1, 4, 40)]
    dofs = [one.between_dof for one in worth if one is not None]
    assert dofs[0] < 13.0 and dofs[0] < dofs[2]


@pytest.mark.parametrize("value", [0.001, 0.05, 0.5, 1.0, 1.6449340668482264, 20.0])
def test_inverse_trigamma_inverts_scipys_polygamma(value: float) -> None:
    assert float(polygamma(1, _inverse_trigamma(value))) == pytest.approx(value, rel=1e-8)


def test_nothing_is_pooled_from_nothing() -> None:
    assert pooled_history([]) is None
    assert pooled_history([Spread(0.0, 0.0, 3)]) is None
    assert spread_of(np.zeros((1, 50))) is None


# Correlation of neighbours by definition of the waves: 1 − ρ = (step / length)² / 2, in steps of 1/199 of the range.
@pytest.mark.parametrize(
    ("kind", "level", "roughness"),
    [
        ("white", 0.0, 1.0),
        ("smooth", 0.0, 0.5 * (1 / 199 / 0.15) ** 2),
        ("ripple", 0.0, 0.5 * (1 / 199 / 0.05) ** 2),
        ("level", 0.98, 0.0),
        ("mixed", 0.8, 0.2 * 0.5 * (1 / 199 / 0.05) ** 2),
    ],
)
def test_structures_are_recognised(kind: str, level: float, roughness: float) -> None:
    found = merged([one.structure for one in _spreads(kind, 150) if one.structure is not None])
    assert found is not None
    # Each session's level is cut at zero, so that slow waves leave a little on average; coverage is counted with it.
    assert found.level == pytest.approx(level, abs=0.16 if kind == "smooth" else 0.08)
    # A mean of ratios from few pulls is high, the more so for slow waves; that makes a band wider and never narrower.
    assert 0.95 * roughness <= np.mean(found.roughness) <= 1.45 * roughness + 2e-5


def test_a_level_is_one_piece_and_white_noise_as_many_as_speeds() -> None:
    pieces = {
        kind: merged([one.structure for one in _spreads(kind, 60) if one.structure is not None])
        for kind in ("level", "smooth", "ripple", "white")
    }
    found = [one.pieces for one in pieces.values() if one is not None]
    assert found[0] == pytest.approx(1.0, rel=0.01)
    assert found == sorted(found)
    assert found[-1] > 60


def test_averaging_variance_keeps_its_mean_of_a_constant() -> None:
    assert np.allclose(pooled_variance(np.full(60, 2.5)), 2.5)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(KINDS), st.integers(2, 6), st.floats(1e-6, 1e3), st.integers(0, 2**20))
def test_scaling_the_noise_scales_the_variances_and_leaves_the_structure(
    kind: str, pulls: int, scale: float, seed: int
) -> None:
    draw = np.random.default_rng(seed)
    residuals = noise(draw, kind, pulls)
    residuals -= residuals.mean(axis=0)
    plain, scaled = spread_of(residuals), spread_of(residuals * scale)
    assert plain is not None and scaled is not None
    assert len(plain.profile) == POSITIONS
    assert np.allclose(scaled.profile, np.array(plain.profile) * scale**2, rtol=1e-9)
    assert plain.structure is not None and scaled.structure is not None
    assert np.allclose(scaled.structure.correlation, plain.structure.correlation, atol=1e-9)
    assert scaled.structure.level == pytest.approx(plain.structure.level, abs=1e-9)


def test_residuals_of_pulls_that_agree_have_no_structure() -> None:
    assert structure_of(np.zeros((3, 100)), 2.0) is None
