"""The shop can rely on it that a session which drifts with temperature is named, and that no statistic takes a pull
away."""

import numpy as np
import pytest
from scipy import stats

from app.calc.dyno.history import History
from app.calc.dyno.settling import critical_range, follows, standing_apart
from tests.calc.dyno.statistics_cases import CASES

HISTORY = History(level_variance=0.004**2, shape_variance=0.002**2, dof=40, sessions=20)


def test_level_that_follows_the_intake_temperature_is_found_with_scipys_p_value() -> None:
    levels = [0.9, 0.4, 0.1, -0.3, -1.1]
    intake: list[float | None] = [22, 26, 29, 33, 40]
    found = follows(levels, {"intake air at start": intake, "coolant at start": [88, 90, 88, 90, 88]})
    assert [one.condition for one in found] == ["intake air at start"]
    expected = stats.linregress([22, 26, 29, 33, 40], levels)
    assert (found[0].slope, found[0].p) == pytest.approx((expected.slope, expected.pvalue))
    assert found[0].sentence.startswith("Power falls with the intake air at start by 0.11 % for each unit (p < 0.001)")


def test_what_was_not_recorded_or_never_changed_tells_nothing() -> None:
    levels = [0.5, 0.0, -0.5]
    assert follows(levels, {"coolant at start": [88.0, None, 90.0]}) == ()
    assert follows(levels, {"coolant at start": [88.0, 88.0, 88.0]}) == ()
    assert follows([0.0, 0.0, 0.0], {"coolant at start": [80.0, 85.0, 90.0]}) == ()


def test_critical_range_factors_are_those_of_iso_5725_6() -> None:
    for n, factor in CASES["repeatability"]["critical_range_factor"].items():
        assert critical_range(int(n)) == pytest.approx(factor, abs=2e-4)
    assert critical_range(3, 4) == pytest.approx(5.040, abs=2e-3)  # studentized range table, q(0.95; 3, 4) = 5.04


def test_a_pull_beyond_the_critical_range_is_named() -> None:
    """s_r = 0.4 % with 40 degrees of freedom: three levels may range over 3.44 × 0.4 % = 1.38 %."""
    assert standing_apart([0.6, -0.1, -0.5], HISTORY) is None
    assert standing_apart([-0.5, -0.4, 0.95], HISTORY) == 2
    assert standing_apart([-1.1, 0.4, 0.7], HISTORY) == 0


def test_without_a_history_no_pull_is_accused() -> None:
    """Grubbs' statistic of three values cannot pass (n − 1)/√n = 1.1547 (data/statistics.json, small_samples)."""
    assert standing_apart([0.0, 0.1, 9.0], None) is None
    assert standing_apart([5.0], HISTORY) is None
    extreme = np.array([0.0, 0.0, 1e9])
    grubbs = np.abs(extreme - extreme.mean()).max() / extreme.std(ddof=1)
    assert grubbs == pytest.approx(CASES["small_samples"]["table"][1]["max_possible_grubbs_G"], abs=1e-6)


def test_one_session_in_twenty_is_named_when_nothing_is_wrong() -> None:
    draw = np.random.default_rng(5)
    sessions = draw.normal(0, 0.4, (2000, 3))
    allowed = critical_range(3, 1e5) * 0.4
    named = np.mean(np.ptp(sessions, axis=1) > allowed)
    assert 0.04 < named < 0.06
