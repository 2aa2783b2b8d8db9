"""The shop can rely on it that a restore is closed in order, by evidence, and that a later write reopens what follows.

The order of the steps is common practice, no source; the rule that coding precedes the first engine start is the
trade's for cars that lose coding when written.
"""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.restore import verdicts as rules
from app.calc.restore.plan import Override, Plan, RestoreUnit, build_plan, progress
from app.calc.restore.verdicts import Verdict
from app.errors import BadInput

ENGINE, GEARBOX = RestoreUnit(3, "engine"), RestoreUnit(7, "transmission")
GOOD, BAD, OPEN = Verdict("verified", "good"), Verdict("failed", "bad"), Verdict("not verified", "open")


def plan(
    units: tuple[RestoreUnit, ...] = (ENGINE, GEARBOX),
    *,
    coding_snapshot: bool = True,
    baseline: bool = True,
    high_voltage: bool = False,
    two_sign_offs: bool = True,
) -> Plan:
    return build_plan(
        units,
        coding_snapshot=coding_snapshot,
        baseline=baseline,
        high_voltage=high_voltage,
        two_sign_offs=two_sign_offs,
    )


def work(a_plan: Plan) -> list[str]:
    return [s.key for s in a_plan.steps if s.evidence != "sign-off"]


def test_the_whole_list_for_two_control_units() -> None:
    assert [s.key for s in plan().steps] == [
        "identify.3",
        "identify.7",
        "secure_stock.3",
        "secure_stock.7",
        "supply",
        "flash.3",
        "read_back.3",
        "flash.7",
        "read_back.7",
        "write_coding",
        "compare_coding",
        "parts",
        "faults",
        "readiness",
        "pull",
        "sign_off",
        "second_sign_off",
    ]


def test_every_step_says_what_to_do_and_names_a_rule_that_exists() -> None:
    for step in plan().steps:
        assert step.title
        assert step.guidance.endswith(".")
        assert step.caution.endswith(".")
        assert step.rule == "sign_off" or callable(getattr(rules, step.rule))
        assert len(step.key) <= 80


def test_a_units_step_needs_its_own_unit_and_a_vehicles_step_all() -> None:
    steps = plan()
    assert steps.step("flash.7").needs == ("secure_stock.7", "supply")
    assert steps.step("compare_coding").needs == ("read_back.3", "read_back.7", "write_coding")
    assert steps.step("read_back.3").renewed_by == ("flash.3",)
    assert steps.step("faults").renewed_by == ("flash.3", "flash.7", "write_coding", "parts")


def test_the_coding_comes_before_the_engine_runs() -> None:
    steps = plan()
    order = [s.key for s in steps.steps]
    for key in ("faults", "readiness", "pull"):
        assert order.index("compare_coding") < order.index(key)
    assert "Do not start the engine" in steps.step("write_coding").caution


def test_without_a_snapshot_the_comparison_stays_and_can_only_be_overridden() -> None:
    steps = plan(coding_snapshot=False)
    assert "write_coding" not in [s.key for s in steps.steps]
    assert not steps.step("compare_coding").evidence_possible
    assert "only be overridden" in steps.step("compare_coding").guidance
    assert steps.step("compare_coding").needs == ("read_back.3", "read_back.7")


def test_without_baseline_or_stock_the_step_says_so() -> None:
    assert not plan(baseline=False).step("pull").evidence_possible
    steps = plan((RestoreUnit(3, "engine", has_stock=False),))
    assert [s.key for s in steps.steps if not s.evidence_possible] == ["secure_stock.3", "flash.3", "read_back.3"]
    assert "No stock is confirmed" in steps.step("flash.3").guidance


def test_high_voltage_adds_its_caution() -> None:
    assert "High-voltage" in plan(high_voltage=True).step("parts").caution
    assert all("High-voltage" not in s.caution for s in plan().steps)


def test_one_sign_off_when_one_is_asked_for() -> None:
    assert [s.key for s in plan(two_sign_offs=False).steps if s.evidence == "sign-off"] == ["sign_off"]
    assert plan().step("second_sign_off").needs[-1] == "sign_off"


@pytest.mark.parametrize("units", [(), (ENGINE, ENGINE)])
def test_a_plan_without_or_with_doubled_units_is_refused(units: tuple[RestoreUnit, ...]) -> None:
    with pytest.raises(BadInput):
        plan(units)


def test_the_start_is_open_and_the_rest_waits() -> None:
    found = progress(plan(), {}, {})
    assert [s.step.key for s in found.states if s.state == "open"] == ["identify.3", "identify.7"]
    assert found.next_step is not None
    assert found.next_step.key == "identify.3"
    assert not found.may_sign_off
    assert found.sentence == "0 of 15 steps done. Next: Identify the control unit – engine."


def test_all_verified_may_be_signed() -> None:
    found = progress(plan(), dict.fromkeys(work(plan()), GOOD), {})
    assert found.may_sign_off
    assert found.next_step is not None
    assert found.next_step.key == "sign_off"
    signed = progress(plan(), dict.fromkeys([*work(plan()), "sign_off"], GOOD), {})
    assert signed.next_step is not None
    assert signed.next_step.key == "second_sign_off"


@pytest.mark.parametrize("verdict", [BAD, OPEN])
def test_evidence_that_does_not_verify_keeps_the_step_open(verdict: Verdict) -> None:
    found = progress(plan(), {**dict.fromkeys(work(plan()), GOOD), "read_back.3": verdict}, {})
    states = {s.step.key: s for s in found.states}
    assert states["read_back.3"].state == "open"
    assert states["write_coding"].state == "blocked"
    assert states["write_coding"].waits_for == ("read_back.3",)
    assert not found.may_sign_off


def test_an_override_closes_the_step_and_keeps_the_finding() -> None:
    override = Override("The tool cannot read this unit.", "M. Ostrow")
    found = progress(plan(), {**dict.fromkeys(work(plan()), GOOD), "read_back.3": OPEN}, {"read_back.3": override})
    state = next(s for s in found.states if s.step.key == "read_back.3")
    assert (state.state, state.verdict, state.override) == ("done", OPEN, override)
    assert found.may_sign_off
    assert "1 of them overridden" in found.sentence


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_an_override_needs_its_reason(reason: str) -> None:
    with pytest.raises(BadInput, match="reason"):
        Override(reason, "M. Ostrow")


def test_a_sign_off_cannot_be_overridden() -> None:
    with pytest.raises(BadInput):
        progress(plan(), {}, {"sign_off": Override("hurry", "M. Ostrow")})


@pytest.mark.parametrize("key", ["read_back", "flash.9", ""])
def test_an_unknown_step_is_refused(key: str) -> None:
    with pytest.raises(BadInput):
        progress(plan(), {key: GOOD}, {})
    with pytest.raises(BadInput):
        plan().step(key)


def test_a_later_write_reopens_what_it_spoils() -> None:
    keys = work(plan())
    order = {key: n for n, key in enumerate(keys)} | {"flash.3": 99}
    states = {s.step.key: s for s in progress(plan(), dict.fromkeys(keys, GOOD), {}, order=order).states}
    assert states["flash.3"].state == "done"
    assert (states["read_back.3"].state, states["read_back.3"].stale) == ("open", True)
    assert states["read_back.7"].state == "done"
    assert states["compare_coding"].state == "blocked"
    assert states["parts"].state == "done"


def test_the_plan_survives_json() -> None:
    assert Plan.from_json(json.loads(json.dumps(plan().to_json()))) == plan()


outcomes = st.sampled_from([None, GOOD, BAD, OPEN])


@given(st.data())
def test_a_step_is_done_only_after_all_it_needs(data: st.DataObject) -> None:
    a_plan = plan(
        coding_snapshot=data.draw(st.booleans()),
        baseline=data.draw(st.booleans()),
        two_sign_offs=data.draw(st.booleans()),
    )
    given_verdicts = {s.key: data.draw(outcomes) for s in a_plan.steps}
    given_overrides = {k: Override("r", "m") for k in work(a_plan) if data.draw(st.booleans())}
    order = {s.key: data.draw(st.integers(0, 5)) for s in a_plan.steps}
    found = progress(a_plan, {k: v for k, v in given_verdicts.items() if v}, given_overrides, order=order)
    done = {s.step.key for s in found.states if s.state == "done"}
    for state in found.states:
        key = state.step.key
        if state.state == "done":
            assert set(state.step.needs) <= done
            assert given_verdicts[key] is GOOD or key in given_overrides
            assert all(order[k] <= order[key] for k in state.step.renewed_by)
        assert (state.state == "blocked") == bool(state.waits_for)
    assert found.may_sign_off == (set(work(a_plan)) <= done)
    if not found.may_sign_off:
        assert not {"sign_off", "second_sign_off"} & done
