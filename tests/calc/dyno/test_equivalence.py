"""The shop can rely on it that "equivalent to the baseline" is said on evidence and never for want of it.

Check values: two one-sided Welch tests by statsmodels 0.15.0 ttost_ind(usevar="unequal"), in data/statistics.json.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from app.calc.dyno.curve import Pulls
from app.calc.dyno.equivalence import equivalence
from app.calc.dyno.history import History
from app.errors import BadInput
from tests.calc.dyno.statistics_cases import T_TESTS

Values = NDArray[np.float64]
SPEED = np.arange(1500.0, 6501.0, 25.0)
SHAPE = SPEED / 6500
HISTORY = History(level_variance=0.004**2, shape_variance=0.002**2, dof=40, sessions=20)


def pulls(power: Values) -> Pulls:
    return Pulls(SPEED, power * 30000 / (np.pi * SPEED), power)


def levels(values: list[float]) -> Pulls:
    """Pulls of one shape whose peaks are the given powers in kW."""
    return pulls(np.outer(values, SHAPE))


def drawn(count: int, seed: int, *, level: float = 0.004, shape: float = 0.002, change: Values | float = 0.0) -> Pulls:
    draw = np.random.default_rng(seed)
    smooth = np.stack(
        [np.interp(SPEED, np.linspace(1500, 6500, 10), row) for row in draw.normal(0, shape, (count, 10))]
    )
    return pulls(200 * SHAPE * (1 + change) * (1 + draw.normal(0, level, (count, 1)) + smooth))


@pytest.mark.parametrize("name", ["TOST not equivalent", "TOST equivalent"])
def test_reference_cases_of_two_one_sided_tests(name: str) -> None:
    case = T_TESTS[name]
    margin = 100 * case["margin"][1] / float(np.mean(case["x"]))
    found = equivalence(levels(case["x"]), levels(case["y"]), margin_percent=margin)
    assert found.p_value == pytest.approx(case["p"], rel=1e-7)
    assert found.equivalent is (case["decision_5pct"] == "equivalent")
    assert found.difference_percent == pytest.approx(100 * (np.mean(case["y"]) / np.mean(case["x"]) - 1))


def test_the_interval_is_welchs_ninety_percent_interval() -> None:
    case = T_TESTS["Welch, n=3 v 3"]
    found = equivalence(levels(case["x"]), levels(case["y"]), margin_percent=5)
    expected = stats.ttest_ind(case["y"], case["x"], equal_var=False).confidence_interval(0.90)
    scale = 100 / float(np.mean(case["x"]))
    assert found.low_percent == pytest.approx(expected.low * scale)
    assert found.high_percent == pytest.approx(expected.high * scale)


def test_with_a_history_the_variances_are_pooled() -> None:
    """One pull against three, with the history: pooled by hand."""
    found = equivalence(levels([200.0]), levels([200.6, 199.8, 200.9]), margin_percent=2, history=HISTORY)
    y = np.array([0.3, -0.1, 0.45])
    squares = ((y - y.mean()) ** 2).sum()
    variance = (squares + 40 * 0.16) / 42
    half = stats.t.ppf(0.95, 42) * np.sqrt(variance * (1 + 1 / 3))
    assert found.difference_percent == pytest.approx(y.mean())
    assert found.low_percent == pytest.approx(y.mean() - half)
    assert found.high_percent == pytest.approx(y.mean() + half)


def test_noisy_pulls_do_not_borrow_the_quiet_of_the_history() -> None:
    """Pulls that scatter ten times more than the history: pooling would call them equivalent."""
    noisy = [196.0, 208.0, 197.0]
    found = equivalence(levels([200.0, 204.0, 196.0]), levels(noisy), margin_percent=2, history=HISTORY)
    alone = equivalence(levels([200.0, 204.0, 196.0]), levels(noisy), margin_percent=2)
    assert found == alone and found.equivalent is False
    assert found.sentence.startswith("Not shown to be equivalent: power differs by")


def test_more_below_and_less_above_is_no_equivalence() -> None:
    tilt = np.linspace(0.05, -0.05, SPEED.size)
    found = equivalence(drawn(3, 1), drawn(3, 2, change=tilt), margin_percent=2)
    assert abs(found.difference_percent) < 0.8
    assert found.equivalent is False
    assert "Not equivalent to the baseline: from 1,500 to" in found.sentence
    assert abs(found.worst_percent) > 4


@pytest.mark.parametrize("change,expected", [(0.0, True), (0.05, False), (-0.05, False)])
def test_a_planted_difference_is_found(change: float, expected: bool) -> None:
    found = equivalence(drawn(4, 3), drawn(4, 4, change=change), margin_percent=2)
    assert found.equivalent is expected
    assert found.sentence.startswith("Equivalent to" if expected else "Not equivalent to")


@pytest.mark.parametrize("history", [None, HISTORY])
def test_a_difference_at_the_margin_is_called_equivalent_at_most_once_in_twenty(history: History | None) -> None:
    """500 restores whose power truly differs by the margin: the error of the test stays at or below 5 % (standard error
    1 %)."""
    called = [
        equivalence(drawn(3, 2 * k), drawn(3, 2 * k + 1, change=0.02), margin_percent=2, history=history).equivalent
        for k in range(500)
    ]
    assert np.mean([one is True for one in called]) < 0.075


def test_a_restored_car_is_called_equivalent_nearly_always_when_the_dyno_has_a_history() -> None:
    called = [
        equivalence(drawn(3, 2 * k), drawn(3, 2 * k + 1), margin_percent=2, history=HISTORY).equivalent
        for k in range(200)
    ]
    assert np.mean([one is True for one in called]) > 0.95


def test_one_pull_each_without_a_history_decides_nothing() -> None:
    found = equivalence(levels([200.0]), levels([200.0]), margin_percent=2)
    assert found.equivalent is None and found.p_value is None and found.low_percent is None
    assert "cannot be decided" in found.sentence


def test_identical_pulls_are_equivalent_and_a_shifted_copy_is_not() -> None:
    same = equivalence(levels([200.0, 200.0]), levels([200.0, 200.0]), margin_percent=2)
    assert same.equivalent is True and same.p_value == 0
    off = equivalence(levels([200.0, 200.0]), levels([206.0, 206.0]), margin_percent=2)
    assert off.equivalent is False and off.sentence.startswith("Not equivalent")


def test_what_cannot_be_compared_is_refused() -> None:
    with pytest.raises(BadInput, match="above zero"):
        equivalence(levels([1.0]), levels([1.0]), margin_percent=0)
    short = levels([200.0, 201.0]).within(1500, 2000)
    with pytest.raises(BadInput, match="fewer than 500 rpm"):
        equivalence(short, levels([200.0]).within(1800, 6500), margin_percent=2)


@settings(max_examples=200, deadline=None)
@given(
    x=st.lists(st.floats(190, 210), min_size=2, max_size=5),
    y=st.lists(st.floats(190, 210), min_size=2, max_size=5),
    margin=st.floats(0.5, 5),
    more=st.floats(0.1, 3),
)
def test_a_wider_margin_never_turns_equivalent_into_not(
    x: list[float], y: list[float], margin: float, more: float
) -> None:
    narrow = equivalence(levels(x), levels(y), margin_percent=margin)
    wide = equivalence(levels(x), levels(y), margin_percent=margin + more)
    assert narrow.p_value is not None and wide.p_value is not None
    assert wide.p_value <= narrow.p_value + 1e-12
    inside = narrow.low_percent is not None and narrow.low_percent > -margin
    if narrow.equivalent:
        assert inside and narrow.high_percent is not None and narrow.high_percent < margin
