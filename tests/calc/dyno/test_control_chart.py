"""The shop can rely on it that a dyno is called drifting by the rules of control charts and not by eye.

Examples: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2 (individuals, flow rate data: centre 50.81,
limits 55.8041 and 45.8159; from memory) and 6.3.2.1 (s chart: factors from c₄, which data/statistics.json has).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.control_chart import individuals, standard_deviations
from tests.calc.dyno.statistics_cases import CASES

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
C4 = {row["n"]: row["c4"] for row in CASES["small_samples"]["table"]}


def test_individuals_chart_of_the_handbook() -> None:
    chart = individuals(FLOW)
    assert chart is not None
    assert (chart.centre, chart.upper, chart.lower) == pytest.approx((50.81, 55.8041, 45.8159), abs=5e-4)
    assert chart.outside == ()


def test_a_point_beyond_the_limits_is_named() -> None:
    chart = individuals([*FLOW, 62.0, 52.0])
    assert chart is not None and chart.outside == (10,)


@pytest.mark.parametrize("pulls", sorted(C4))
def test_limits_of_the_s_chart(pulls: int) -> None:
    """Centre s̄, limits s̄ (1 ± 3 √(1 − c₄²)/c₄), the lower one never below zero."""
    chart = standard_deviations([1.0, 1.2, 0.8], pulls)
    assert chart is not None and chart.centre == pytest.approx(1.0)
    half = 3 * math.sqrt(1 - C4[pulls] ** 2) / C4[pulls]
    assert chart.upper == pytest.approx(1 + half, rel=1e-6)
    assert chart.lower == pytest.approx(max(0, 1 - half), abs=1e-6)


def test_printed_factors_of_the_s_chart() -> None:
    """B4 of the usual tables (from memory): 3.267 for n = 2, 2.568 for n = 3, 2.089 for n = 5, 1.716 for n = 10."""
    for pulls, factor in ((2, 3.267), (3, 2.568), (5, 2.089), (10, 1.716)):
        chart = standard_deviations([1.0, 1.0, 1.0], pulls)
        assert chart is not None and chart.upper == pytest.approx(factor, abs=6e-4)


def test_a_session_that_scatters_three_times_as_much_is_named() -> None:
    chart = standard_deviations([0.4, 0.5, 0.3, 0.4, 0.45, 2.0], 3)
    assert chart is not None and chart.outside == (5,)


def test_a_steady_dyno_is_seldom_called_drifting() -> None:
    """3,000 sessions of three pulls without any drift: 0.6 % of their s lie outside (χ² with 2 degrees of freedom:
    P(s > 2.568·c₄·σ) = exp(−(2.568·0.886227)²) = 0.56 %)."""
    s = np.random.default_rng(6).normal(0, 0.4, (3000, 3)).std(axis=1, ddof=1)
    chart = standard_deviations(s.tolist(), 3)
    assert chart is not None
    assert len(chart.outside) / 3000 == pytest.approx(math.exp(-((2.568 * 0.886227) ** 2)), abs=0.004)


def test_too_little_for_a_chart() -> None:
    assert individuals([1.0, 2.0]) is None
    assert standard_deviations([1.0, 2.0], 3) is None
    assert standard_deviations([1.0, 2.0, 3.0], 1) is None


@given(st.lists(st.floats(0, 1e3), min_size=3, max_size=60), st.floats(0.1, 10))
def test_a_chart_scales_with_its_unit(values: list[float], scale: float) -> None:
    one, other = individuals(values), individuals([v * scale for v in values])
    assert one is not None and other is not None
    assert other.upper == pytest.approx(one.upper * scale, rel=1e-6, abs=1e-9)
    assert one.lower <= one.centre <= one.upper
