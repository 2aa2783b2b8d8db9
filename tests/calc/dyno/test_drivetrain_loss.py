"""The shop can rely on it that a loss is a fraction of the rated power, nothing else, and claims no engine power.

The arithmetic is checked against the worked case of data/chassis_dyno.json (mechanics); the usual spans are common
practice, no source.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.drivetrain_loss import apparent_loss, engine_power_estimate_kw
from app.errors import BadInput

CASES = {
    c["id"]: c for c in json.loads((Path(__file__).parent / "data" / "chassis_dyno.json").read_text("utf-8"))["cases"]
}


def test_loss_by_percentage() -> None:
    case = CASES["loss by percentage"]
    wheel, loss = case["inputs"]["wheel_power_kW"], case["inputs"]["loss_percent"] / 100
    assert engine_power_estimate_kw(wheel, loss) == pytest.approx(case["value"]["engine_power_kW"], rel=1e-9)
    assert engine_power_estimate_kw(wheel, loss) != pytest.approx(case["value"]["wrong_value_kW"], rel=1e-3)
    assert apparent_loss(wheel, 200.0, driven_axles="rear").loss == pytest.approx(loss, rel=1e-9)


@pytest.mark.parametrize(
    ("wheel", "axles", "transmission", "judgement"),
    [
        (174.0, "rear", "manual", "usual"),
        (170.0, "rear", "manual", "usual"),
        (180.0, "front", "manual", "usual"),
        (188.0, "front", "manual", "lower than usual"),
        (174.0, "rear", "automatic", "lower than usual"),
        (165.0, "front", "automatic", "usual"),
        (174.0, "front", None, "usual"),
        (155.0, "all", None, "usual"),
        (140.0, "all", "manual", "higher than usual"),
        (210.0, "all", "automatic", "above rated"),
    ],
)
def test_what_is_usual(wheel: float, axles: Any, transmission: Any, judgement: str) -> None:
    found = apparent_loss(wheel, 200.0, driven_axles=axles, transmission=transmission)
    assert found.judgement == judgement
    assert bool(found.reasons) == (judgement != "usual")
    assert found.sentence.endswith("It is no statement of engine power.")


def test_the_uncertainty_decides_whether_it_is_outside() -> None:
    sharp = apparent_loss(185.0, 200.0, driven_axles="rear", transmission="manual", wheel_uncertainty_kw=2.0)
    vague = apparent_loss(185.0, 200.0, driven_axles="rear", transmission="manual", wheel_uncertainty_kw=8.0)
    assert (sharp.judgement, vague.judgement) == ("lower than usual", "usual")
    assert vague.loss_uncertainty == pytest.approx(0.04)
    assert "7.5 ± 4.0 %" in vague.sentence


def test_both_standards_are_named() -> None:
    sentence = apparent_loss(
        170.0, 200.0, driven_axles="rear", rated_standard="ISO 1585", wheel_standard="uncorrected"
    ).sentence
    assert "rated by ISO 1585, wheel power uncorrected" in sentence
    assert "a standard not on record" in apparent_loss(170.0, 200.0, driven_axles="rear").sentence


@pytest.mark.parametrize(("wheel", "rated"), [(0.0, 200.0), (170.0, 0.0), (float("nan"), 200.0)])
def test_impossible_powers_are_refused(wheel: float, rated: float) -> None:
    with pytest.raises(BadInput):
        apparent_loss(wheel, rated, driven_axles="rear")


@pytest.mark.parametrize("loss", [-0.1, 0.6, 15.0, float("nan")])
def test_a_loss_in_percent_is_refused(loss: float) -> None:
    with pytest.raises(BadInput, match="fraction"):
        engine_power_estimate_kw(170.0, loss)


@given(st.floats(1.0, 2000.0), st.floats(0.0, 0.59))
def test_the_two_are_inverse(rated: float, loss: float) -> None:
    wheel = rated * (1 - loss)
    found = max(0.0, apparent_loss(wheel, rated, driven_axles="all").loss)
    assert engine_power_estimate_kw(wheel, found) == pytest.approx(rated, rel=1e-12)
