"""The shop can rely on it that the repeatability shown is that of ISO 5725, with level and shape kept apart."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import Spread, pooled_history
from app.calc.dyno.repeatability import deviation_interval, repeatability
from tests.calc.dyno.statistics_cases import CASES

Values = NDArray[np.float64]
SPEED = np.arange(1500.0, 6501.0, 25.0)
MEAN = 200 * SPEED / 6500


def pulls_of(relative: Values) -> Pulls:
    """Pulls whose power is the mean curve times 1 + relative, (n, m) or (n, 1)."""
    power = MEAN * (1 + relative * np.ones_like(MEAN))
    return Pulls(SPEED, power * 30000 / (np.pi * SPEED), power)


def levels_only(values: list[float]) -> Pulls:
    """Pulls that differ in level alone: the peak of each is the given power in kW."""
    power = np.outer(values, MEAN / MEAN.max())
    return Pulls(SPEED, power * 30000 / (np.pi * SPEED), power)


def test_pooled_repeatability_of_two_sessions_as_iso_5725_2_pools_them() -> None:
    """data/statistics.json, repeatability: s_r² = Σ(nᵢ−1)sᵢ²/Σ(nᵢ−1), r = 2.8·s_r (ISO 5725-6)."""
    case = CASES["repeatability"]["example"]
    found = [repeatability(levels_only(group)) for group in case["groups"]]
    assert [one.s_level_percent for one in found] == pytest.approx(case["cv_percent"], rel=1e-9)
    deviations = [one.s_r_kw for one in found if one.s_r_kw is not None]
    assert deviations == pytest.approx([np.std(group, ddof=1) for group in case["groups"]], rel=1e-9)
    pooled = pooled_history([Spread(s**2, 0.0, 2) for s in deviations])
    assert pooled is not None and pooled.dof == 4
    assert np.sqrt(pooled.level_variance) == pytest.approx(case["s_r"], rel=1e-9)
    assert 2.8 * np.sqrt(pooled.level_variance) == pytest.approx(case["r"], rel=1e-8)
    assert [one.r_kw for one in found] == pytest.approx([2.8 * s for s in deviations])


def test_level_and_shape_noise_are_told_apart() -> None:
    """Planted: level 0.6 %, shape 0.3 % (smooth, zero mean over the curve), 400 sessions of three pulls. The pooled
    variances lie within 10 % of what was planted (their own standard error is 5 % at 800 degrees of freedom)."""
    draw = np.random.default_rng(11)
    waves = np.stack([np.sqrt(2) * np.cos(np.pi * k * (np.arange(SPEED.size) + 0.5) / SPEED.size) for k in (2, 3, 5)])
    spreads = []
    for _ in range(400):
        level = draw.normal(0, 0.006, (3, 1))
        shape = draw.normal(0, 0.003 / np.sqrt(3), (3, 3)) @ waves
        found = repeatability(pulls_of(level + shape)).spread
        assert found is not None
        spreads.append(found)
    pooled = pooled_history(spreads)
    assert pooled is not None and pooled.dof == 800
    assert np.sqrt(pooled.level_variance) == pytest.approx(0.006, rel=0.05)
    assert np.sqrt(pooled.shape_variance) == pytest.approx(0.003, rel=0.05)


def test_level_alone_leaves_no_shape_and_shape_alone_no_level() -> None:
    level = repeatability(pulls_of(np.array([[0.01], [0.0], [-0.01]])))
    assert level.s_level_percent == pytest.approx(1.0) and level.s_shape_percent == pytest.approx(0.0, abs=1e-9)
    tilt = np.linspace(-0.01, 0.01, SPEED.size)
    shape = repeatability(pulls_of(np.stack([tilt, 0 * tilt, -tilt])))
    assert shape.s_level_percent == pytest.approx(0.0, abs=1e-9)
    assert shape.s_shape_percent == pytest.approx(1 / np.sqrt(3), rel=0.02)
    assert shape.level_percent == pytest.approx([0, 0, 0], abs=1e-9)


def test_one_pull_claims_nothing() -> None:
    found = repeatability(pulls_of(np.zeros((1, 1))))
    assert (found.s_level_percent, found.r_kw, found.spread, found.trend_p) == (None, None, None, None)
    assert "make at least three" in found.sentence


def test_a_rise_from_pull_to_pull_is_said_with_scipys_p_value() -> None:
    levels = [0.0, -0.004, -0.0085, -0.012, -0.0165]
    found = repeatability(pulls_of(np.array(levels)[:, None]))
    expected = stats.linregress(range(5), np.array(found.level_percent))
    assert found.trend_percent_per_pull == pytest.approx(expected.slope)
    assert found.trend_p == pytest.approx(expected.pvalue) and found.trend_p < 0.001
    assert "fall by 0.41 % from pull to pull" in found.sentence and "heat soak" in found.sentence


def test_equal_pulls_have_no_trend() -> None:
    found = repeatability(pulls_of(np.zeros((4, 1))))
    assert (found.trend_percent_per_pull, found.trend_p) == (0.0, 1.0)
    assert found.r_kw == 0.0 and "heat soak" not in found.sentence


@settings(max_examples=200, deadline=None)
@given(
    levels=st.lists(st.floats(-0.05, 0.05), min_size=2, max_size=8),
    scale=st.floats(0.1, 10),
    seed=st.integers(0, 1000),
)
def test_repeatability_does_not_depend_on_unit_or_order(levels: list[float], scale: float, seed: int) -> None:
    shape = np.random.default_rng(seed).normal(0, 0.002, (len(levels), SPEED.size))
    relative = np.array(levels)[:, None] + shape
    one, other = repeatability(pulls_of(relative)), repeatability(pulls_of(relative[::-1]))
    assert one.s_level_percent == pytest.approx(other.s_level_percent, rel=1e-6, abs=1e-9)
    assert one.s_shape_percent == pytest.approx(other.s_shape_percent, rel=1e-6)
    pulls = pulls_of(relative)
    scaled = repeatability(Pulls(SPEED, pulls.torque_nm * scale, pulls.power_kw * scale))
    assert scaled.s_level_percent == pytest.approx(one.s_level_percent, rel=1e-6, abs=1e-9)
    assert scaled.s_r_kw == pytest.approx(scale * (one.s_r_kw or 0), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("row", CASES["small_samples"]["table"], ids=lambda row: str(row["n"]))
def test_how_little_few_pulls_tell_of_a_deviation(row: dict[str, Any]) -> None:
    """data/statistics.json, small_samples: 95 % interval of σ in units of s (closed formula)."""
    assert deviation_interval(1.0, row["n"]) == pytest.approx(row["sigma_ci95_factor"], rel=1e-6)


def test_few_pulls_say_how_little_they_know() -> None:
    three = repeatability(levels_only([200.0, 201.0, 202.0]))
    assert "r = 2.8 kW" in three.sentence and "between 1.5 and 17.6 kW" in three.sentence
    assert "From so few pulls" not in repeatability(levels_only([200.0, 201.0, 202.0] * 2)).sentence


def test_no_sessions_are_no_history() -> None:
    assert pooled_history([]) is None
