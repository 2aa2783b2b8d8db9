"""The shop can rely on it that a change in consumption is claimed only when the trials show it.

Check values: Welch's test of the NIST/SEMATECH e-Handbook 1.3.5.3 (car mileage data, summary from memory) and a
three-against-three case computed with scipy 1.17.1 ttest_ind, kept in data/welch.json; conversions per NIST SP 811.
"""

import json
from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.economy import EconomyChange, Trial, economy_change
from app.errors import BadInput

CASES: dict[str, dict[str, Any]] = {
    c["id"]: c for c in json.loads((Path(__file__).parent / "data" / "welch.json").read_text("utf-8"))["cases"]
}


def trials(values: list[float]) -> list[Trial]:
    return [Trial(100.0, v) for v in values]


def test_three_against_three() -> None:
    case = CASES["Welch, n=3 v 3"]
    found = economy_change(trials(case["x"]), trials(case["y"]))
    assert found.change_l_per_100km == pytest.approx(case["difference"], rel=1e-9)
    assert (found.low, found.high) == pytest.approx(tuple(case["ci95"]), rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(case["df"], rel=1e-9)
    assert found.verdict == "more"


def test_nist_car_mileage() -> None:
    case = CASES["NIST AUTO83B Welch"]
    # Data with exactly this mean and deviation: half below, half above (an odd count keeps one at the mean).
    samples = []
    for mean, deviation, n in zip(case["mean"], case["sd"], case["n"], strict=True):
        pairs = n // 2
        spread = deviation * sqrt((n - 1) / (2 * pairs))
        samples.append([mean - spread] * pairs + [mean + spread] * pairs + [mean] * (n % 2))
    found = economy_change(trials(samples[0]), trials(samples[1]))
    assert found.degrees_of_freedom == pytest.approx(case["df"], abs=2e-3)
    assert found.low is not None
    half = found.change_l_per_100km - found.low
    # t(0.975; 136.875) is 1.9775: statistics tables give 1.9777 at 135 and 1.9771 at 140.
    assert found.change_l_per_100km / (half / 1.9775) == pytest.approx(-case["t"], rel=1e-4)


def test_conversion_of_the_means() -> None:
    found = economy_change(trials([10.0, 10.2, 9.8]), trials([8.0, 8.1, 7.9]))
    # 235.214583 and 282.480936: exact quotients of mile and gallon (NIST SP 811 appendix B).
    assert found.in_unit("mpg (US)") == pytest.approx((23.5214583, 29.4018229), rel=1e-7)
    assert found.in_unit("mpg (UK)") == pytest.approx((28.2480936, 35.3101170), rel=1e-7)
    assert found.change_percent == pytest.approx(-20.0)


@pytest.mark.parametrize(
    ("before", "after", "verdict", "words"),
    [
        ([10.0, 10.2, 9.8], [8.0, 8.1, 7.9], "less", "less than before by 2.00 L/100 km (95 % interval"),
        ([8.0, 8.1, 7.9], [10.0, 10.2, 9.8], "more", "more than before by 2.00 L/100 km"),
        ([8.0, 8.6, 7.4], [8.1, 7.5, 8.7], "not resolved", "no change is shown by these trials"),
        ([8.0], [7.0, 7.1], "too few trials", "make more trials"),
        ([8.0, 8.0], [7.0, 7.0], "too few trials", "make more trials"),
    ],
)
def test_verdicts(before: list[float], after: list[float], verdict: str, words: str) -> None:
    found = economy_change(trials(before), trials(after))
    assert found.verdict == verdict
    assert words in found.sentence


def test_one_trial_each_has_no_interval() -> None:
    found = economy_change(trials([8.0]), trials([7.0]))
    assert (found.low, found.high, found.degrees_of_freedom) == (None, None, None)


@pytest.mark.parametrize(("distance", "fuel"), [(0.0, 5.0), (100.0, 0.0), (-1.0, 5.0), (100.0, float("nan"))])
def test_impossible_trials_are_refused(distance: float, fuel: float) -> None:
    with pytest.raises(BadInput):
        Trial(distance, fuel)


@pytest.mark.parametrize("level", [0.0, 1.0, 95.0])
def test_impossible_levels_are_refused(level: float) -> None:
    with pytest.raises(BadInput):
        economy_change(trials([8.0]), trials([7.0]), level=level)


def test_no_trials_are_refused() -> None:
    with pytest.raises(BadInput):
        economy_change([], trials([8.0]))


consumptions = st.lists(st.floats(3.0, 30.0), min_size=2, max_size=6)


@given(consumptions, consumptions)
def test_the_other_way_round_is_the_mirror(before: list[float], after: list[float]) -> None:
    there: EconomyChange = economy_change(trials(before), trials(after))
    back = economy_change(trials(after), trials(before))
    assert there.change_l_per_100km == pytest.approx(-back.change_l_per_100km, abs=1e-12)
    if there.low is not None and back.high is not None:
        assert there.low == pytest.approx(-back.high, rel=1e-9, abs=1e-9)
