"""The shop can rely on it that means, standard deviations and F ratios are right to the digits that a double holds.

NIST Statistical Reference Datasets (public domain), univariate and one-way analysis of variance; certified values and
where they were seen are in data/statistics.json. The project computes means and deviations with numpy's mean and
var(ddof=1) and pools them over sessions; these are what is held to the certified values here.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from app.calc.dyno.history import Spread, pooled_history
from tests.calc.dyno.statistics_cases import ANOVA, UNIVARIATE, groups_of, values_of


@pytest.mark.parametrize("case", UNIVARIATE, ids=lambda one: str(one["name"]))
def test_mean_and_deviation_of_nist_sets(case: dict[str, Any]) -> None:
    values = np.array(values_of(case))
    assert values.size == case["n"]
    assert float(values.mean()) == pytest.approx(float(case["mean"]), rel=case["tolerance_rel"]["mean"])
    assert float(values.std(ddof=1)) == pytest.approx(
        float(case["stdev_n_minus_1"]), rel=case["tolerance_rel"]["stdev"]
    )


def _spread(group: Sequence[float]) -> Spread:
    return Spread(float(np.var(group, ddof=1)), 0.0, len(group) - 1)


@pytest.mark.parametrize("case", ANOVA, ids=lambda one: str(one["name"]))
def test_pooled_variance_and_f_ratio_of_nist_sets(case: dict[str, Any]) -> None:
    groups = groups_of(case)
    pooled = pooled_history([_spread(group) for group in groups])
    assert pooled is not None
    assert pooled.dof == case["df_within"] and pooled.sessions == case["df_between"] + 1
    tolerance = case["tolerance_rel"]["F"]
    assert pooled.level_variance == pytest.approx(float(case["SS_within"]) / case["df_within"], rel=tolerance)
    centre = np.mean([value for group in groups for value in group])
    between = sum(len(group) * (np.mean(group) - centre) ** 2 for group in groups) / case["df_between"]
    assert between / pooled.level_variance == pytest.approx(float(case["F"]), rel=tolerance)


def test_the_one_pass_formula_would_fail_the_same_sets() -> None:
    """Negative test: Σx² − (Σx)²/n, which nothing here may use, loses NumAcc4 altogether."""
    case = next(one for one in UNIVARIATE if one["name"] == "NumAcc4")
    values = np.array(values_of(case))
    one_pass = (np.sum(values**2) - np.sum(values) ** 2 / values.size) / (values.size - 1)
    assert np.sqrt(abs(one_pass)) != pytest.approx(0.1, rel=0.1)
