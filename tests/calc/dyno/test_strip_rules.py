"""The shop can rely on it that a rule of thumb is shown as what it is, and catches a slip that cannot be right.

Check values in data/drag.json: the constants as quoted on public pages, worked examples, and three published figures.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.strip_rules import RULES, estimates, plausibility, power_from_et_kw, power_from_trap_kw
from app.calc.units import convert
from app.errors import BadInput

DRAG: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "drag.json").read_text("utf-8"))
THUMB = DRAG["rules_of_thumb"]
BY_NAME = {r.name: r for r in RULES}


def test_the_constants_are_the_published_ones() -> None:
    for entry in THUMB["empirical"]:
        rule = BY_NAME[entry["name"].split()[0]]
        assert (rule.et, rule.trap) == (entry["ET"], entry["MPH"])
        assert rule.et * rule.trap == pytest.approx(entry["product"], rel=1e-4)
    theory = BY_NAME["constant power, no losses"]
    assert theory.et * theory.trap == pytest.approx(1350.0, rel=1e-6)
    assert theory.et == pytest.approx(THUMB["theory_constant_power"]["ET_coefficient"], rel=1e-6)


@pytest.mark.parametrize("example", THUMB["examples"], ids=lambda e: str(e["W_lb"]))
def test_worked_examples(example: dict[str, float]) -> None:
    found = {
        e.rule.name: e for e in estimates(convert(example["W_lb"], "lb", "kg"), convert(example["P_hp"], "hp", "kW"))
    }
    for name in ("Hale", "Huntington"):
        assert found[name].et_1320ft_s == pytest.approx(example[f"{name}_ET"], rel=1e-6)
        assert convert(found[name].trap_1320ft_kmh, "km/h", "mph") == pytest.approx(example[f"{name}_MPH"], rel=1e-6)


def test_published_figures() -> None:
    time, hale, huntington = THUMB["published_check"]
    found = {e.rule.name: e.et_1320ft_s for e in estimates(convert(3200, "lb", "kg"), convert(450, "hp", "kW"))}
    # That page rounds the constant to 5.82.
    assert found["Hale"] * 5.82 / 5.825 == pytest.approx(time["published_ET"], abs=time["tolerance"])
    for case, name in ((hale, "Hale"), (huntington, "Huntington")):
        power = power_from_et_kw(BY_NAME[name], convert(case["W_lb"], "lb", "kg"), case["ET"])
        assert convert(power, "kW", "hp") == pytest.approx(case["published_hp"], abs=case["tolerance"])


@given(st.floats(300, 5000), st.floats(20, 2000))
def test_reading_the_power_back_is_the_inverse(mass: float, power: float) -> None:
    for e in estimates(mass, power):
        assert power_from_trap_kw(e.rule, mass, e.trap_1320ft_kmh) == pytest.approx(power, rel=1e-9)
        assert power_from_et_kw(e.rule, mass, e.et_1320ft_s) == pytest.approx(power, rel=1e-9)


def test_theory_agrees_with_the_closed_form() -> None:
    case = next(c for c in DRAG["cases"] if c["id"] == "constant power, no losses")
    found = estimates(case["inputs"]["mass_kg"], case["inputs"]["power_W"] / 1000)[0]
    assert found.et_1320ft_s == pytest.approx(case["value"]["time_s"], rel=1e-6)
    assert found.trap_1320ft_kmh / 3.6 == pytest.approx(case["value"]["speed_ms"], rel=1e-6)


GOOD = {"et_60ft_s": 2.1, "et_660ft_s": 8.9, "et_1320ft_s": 13.6, "trap_1320ft_kmh": 170.0}


def test_an_ordinary_run_is_plausible() -> None:
    found = plausibility(GOOD, mass_kg=1600.0, wheel_power_kw=200.0, simulated={**GOOD, "et_1320ft_s": 13.4})
    assert found.plausible
    assert "speaks against" in found.sentence


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"et_1320ft_s": 16.3}, "elapsed time at 1320 ft"),
        ({"et_1320ft_s": 8.6}, "do not belong together"),
        ({"trap_1320ft_kmh": 107.0}, "trap speed at 1320 ft"),
        ({"trap_1320ft_kmh": 270.0}, "do not belong together"),
        ({"et_60ft_s": 1.2}, "elapsed time at 60 ft"),
    ],
)
def test_a_slip_is_pointed_out(change: dict[str, float], words: str) -> None:
    found = plausibility({**GOOD, **change}, simulated=GOOD)
    assert not found.plausible
    assert words in found.sentence


def test_a_slow_start_is_no_slip() -> None:
    assert plausibility({**GOOD, "et_60ft_s": 3.4}, simulated=GOOD).plausible


def test_speed_that_the_wheels_could_not_give() -> None:
    # 1600 kg at 170 km/h hold 1.784 MJ; in 13.6 s that is 131 kW on average.
    assert plausibility(GOOD, mass_kg=1600.0, wheel_power_kw=135.0).plausible
    found = plausibility(GOOD, mass_kg=1600.0, wheel_power_kw=125.0)
    assert found.findings == ("the trap speed took 131 kW on average, more than the 125 kW at the wheels",)


def test_the_closed_forms_are_all_plausible() -> None:
    for case in DRAG["cases"]:
        if case["id"].startswith("coastdown"):
            continue
        value = case["value"]
        run = {"et_1320ft_s": value["time_s"], "trap_1320ft_kmh": value["speed_ms"] * 3.6}
        assert plausibility(run).plausible, case["id"]


def test_nothing_to_check_says_nothing_against() -> None:
    assert plausibility({}).plausible


@pytest.mark.parametrize("call", [lambda: estimates(0.0, 100.0), lambda: power_from_et_kw(RULES[0], 1500.0, 0.0)])
def test_impossible_figures_are_refused(call: Any) -> None:
    with pytest.raises(BadInput):
        call()
