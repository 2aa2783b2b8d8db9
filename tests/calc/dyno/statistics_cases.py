"""Reference cases of statistics, with their sources, from data/statistics.json."""

import json
from pathlib import Path
from typing import Any

CASES: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "statistics.json").read_text("utf-8"))
UNIVARIATE: list[dict[str, Any]] = [one for one in CASES["nist_strd"] if one["kind"] == "univariate"]
ANOVA: list[dict[str, Any]] = [one for one in CASES["nist_strd"] if one["kind"] == "one-way ANOVA"]
T_TESTS: dict[str, dict[str, Any]] = {one["id"]: one for one in CASES["t_tests"]}


def values_of(case: dict[str, Any]) -> list[float]:
    """The data of a univariate set, listed or from its generator."""
    if case.get("data"):
        return [float(value) for value in case["data"]]
    made = case["generator"]
    pair = [float(value) for value in made["then_repeat_500_times"]]
    return [float(made["first"]), *pair * 500]


def groups_of(case: dict[str, Any]) -> list[list[float]]:
    """The groups of a one-way layout, listed or from its generator (Simon and Lesage's)."""
    if case.get("groups"):
        return [[float(value) for value in group] for group in case["groups"]]
    # Decimal text keeps offset + tenth exact before it is rounded once, as in NIST's files.
    from decimal import Decimal

    tenth = Decimal("0.1")
    firsts = [Decimal(text) for text in case["generator"]["treatment_first_value"]]
    return [[float(x), *[float(x - tenth), float(x + tenth)] * 10] for x in firsts]
