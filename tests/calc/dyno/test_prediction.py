"""The interval for the next car, against printed examples and by counting how often it holds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.calc.dyno.prediction import next_car
from app.errors import BadInput


def test_the_worked_example_of_the_handbook_comes_out() -> None:
    """Hahn and Meeker, "Statistical Intervals" (1991), section 4.8: five readings of mean 50.10 and s = 1.31, factor
    3.04 for one future reading at 95 %, interval 46.1 to 54.1 (figures from memory)."""
    found = next_car([50.3, 48.3, 49.6, 50.4, 51.9])
    assert found.mean == pytest.approx(50.10, abs=0.005)
    assert found.deviation == pytest.approx(1.31, abs=0.005)
    assert (found.high - found.mean) / found.deviation == pytest.approx(3.04, abs=0.005)
    assert (found.low, found.high) == pytest.approx((46.1, 54.1), abs=0.06)


@pytest.mark.parametrize(
    ("cars", "quantile"),
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, critical values of Student's t, column 0.975.
    [(2, 12.706), (3, 4.303), (4, 3.182), (6, 2.571), (11, 2.228), (31, 2.042)],
)
def test_the_quantile_is_the_one_of_the_printed_table(cars: int, quantile: float) -> None:
    values = [10.0 + k for k in range(cars)]
    found = next_car(values)
    half = (found.high - found.low) / 2
    assert half / (found.deviation * (1 + 1 / cars) ** 0.5) == pytest.approx(quantile, abs=0.0006)


@pytest.mark.parametrize("cars", [2, 3, 8])
def test_it_holds_the_next_car_as_often_as_it_says(cars: int) -> None:
    """20,000 families of cars; the count of hits lies within 4 standard errors of 95 %."""
    random = np.random.default_rng(20261125 + cars)
    trials = 20_000
    drawn = random.normal(14.0, 2.5, size=(trials, cars + 1))
    hits = sum(found.low <= row[-1] <= found.high for row in drawn for found in (next_car(row[:-1].tolist()),))
    assert abs(hits / trials - 0.95) < 4 * (0.95 * 0.05 / trials) ** 0.5


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=30), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_it_agrees_with_another_library_and_moves_with_its_data(values: list[float], confidence: float) -> None:
    found = next_car(values, confidence=confidence)
    if found.deviation > 1e-9:
        scale = found.deviation * (1 + 1 / len(values)) ** 0.5
        low, high = stats.t.interval(confidence, len(values) - 1, loc=found.mean, scale=scale)
        assert (found.low, found.high) == pytest.approx((low, high), rel=1e-6, abs=1e-6)
    shifted = next_car([value + 7 for value in values], confidence=confidence)
    assert shifted.mean - found.mean == pytest.approx(7, abs=1e-9)
    assert shifted.high - shifted.low == pytest.approx(found.high - found.low, abs=1e-6)


@pytest.mark.parametrize("values", [[], [12.0]])
def test_one_car_predicts_nothing(values: list[float]) -> None:
    with pytest.raises(BadInput, match="too little"):
        next_car(values)
