"""The shop can rely on it that two sessions are called comparable only when what matters was recorded and agrees."""

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.comparability import Bounds, Circumstances, compare_conditions

COMPLETE = Circumstances(
    dyno="Bay 1",
    gear="4",
    drive_mode="normal",
    driven_axles="rear",
    standard="Uncorrected",
    tyre="225/45 R17",
    fuel="98 RON",
    tyre_pressure_bar=2.4,
    pressure_hpa=1004.0,
    temperature_c=19.0,
    relative_humidity_percent=45.0,
    start_intake_c=24.0,
    start_coolant_c=88.0,
    battery_soc_percent=70.0,
)


def test_equal_sessions_are_comparable() -> None:
    found = compare_conditions(COMPLETE, COMPLETE, hybrid=True)
    assert {item.verdict for item in found.items} == {"same"} and len(found.items) == 14
    assert found.sentence == "Comparable: every recorded condition agrees within the shop's bounds."


@pytest.mark.parametrize(
    "changed,words",
    [
        ({"dyno": "Bay 2"}, "different dynos"),
        ({"gear": "5"}, "different gears"),
        ({"standard": "SAE J1349 (1990 form)"}, "different correction standards"),
    ],
)
def test_another_dyno_gear_or_standard_forbids_the_comparison(changed: dict[str, str], words: str) -> None:
    found = compare_conditions(COMPLETE, replace(COMPLETE, **changed))
    assert len(found.blocking) == 1 and words in found.blocking[0]
    assert found.sentence.startswith("Not comparable as they stand: ")


@pytest.mark.parametrize("name,bound", [(f.name, getattr(Bounds(), f.name)) for f in fields(Bounds)])
def test_a_difference_counts_from_the_bound_on(name: str, bound: float) -> None:
    value = getattr(COMPLETE, name)
    at, beyond = replace(COMPLETE, **{name: value + bound}), replace(COMPLETE, **{name: value - bound * 1.01})
    assert not compare_conditions(COMPLETE, at, hybrid=True).differing
    assert len(compare_conditions(COMPLETE, beyond, hybrid=True).differing) == 1
    assert compare_conditions(COMPLETE, beyond, hybrid=True).sentence.startswith("Comparable with care: ")


def test_the_shop_sets_its_own_bounds() -> None:
    warmer = replace(COMPLETE, temperature_c=22.0)
    assert not compare_conditions(COMPLETE, warmer).differing
    (item,) = compare_conditions(COMPLETE, warmer, bounds=Bounds(temperature_c=2.0)).differing
    assert (item.name, item.before, item.after, item.unit) == ("Ambient temperature", "19", "22", "°C")


def test_what_was_not_recorded_is_never_called_equal() -> None:
    found = compare_conditions(Circumstances(), Circumstances(), hybrid=True)
    verdicts = {item.name: item.verdict for item in found.items}
    assert verdicts.pop("Correction standard") == "same"  # every session has one, "none" at the least
    assert set(verdicts.values()) == {"not recorded"}
    assert found.sentence.startswith("No recorded condition differs; not recorded: Dyno, Gear,")
    half = compare_conditions(COMPLETE, replace(COMPLETE, fuel="", start_intake_c=None))
    assert [item.name for item in half.items if item.verdict == "not recorded"] == ["Fuel", "Intake air at start"]


def test_spelling_is_no_difference_and_state_of_charge_is_for_hybrids() -> None:
    found = compare_conditions(COMPLETE, replace(COMPLETE, fuel=" 98 ron ", battery_soc_percent=10.0))
    assert not found.differing
    assert "State of charge" not in {item.name for item in found.items}
    assert compare_conditions(COMPLETE, replace(COMPLETE, battery_soc_percent=10.0), hybrid=True).differing


number = st.one_of(st.none(), st.floats(-50, 1100))
text = st.sampled_from(["", "a", "B", "b "])


@st.composite
def circumstances(draw: st.DrawFn) -> Circumstances:
    return Circumstances(
        **{f.name: draw(text if isinstance(f.default, str) else number) for f in fields(Circumstances)}
    )


@given(circumstances(), circumstances())
def test_the_order_of_the_sessions_does_not_matter(one: Circumstances, other: Circumstances) -> None:
    there, back = compare_conditions(one, other, hybrid=True), compare_conditions(other, one, hybrid=True)
    assert [(i.name, i.verdict) for i in there.items] == [(i.name, i.verdict) for i in back.items]
    assert there.blocking == back.blocking
