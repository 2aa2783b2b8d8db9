"""The shop can rely on it that the invented story holds together: names, numbers, order, the record's fields."""

import re
from collections import Counter
from dataclasses import fields
from typing import Any

import pytest

from app.actions.log_flash import NewFlash
from app.actions.record_session import NewSession
from app.actions.record_strip_run import FIELDS
from app.actions.register_vehicle import NewVehicle
from app.actions.set_limit import NewLimit
from seed_data.generate import Scenario
from seed_data.vin import with_check_digit

FRAME = {"do", "by", "label", "days_ago", "at", "minutes_ago"}
# Fields of a step that name something an earlier step made.
NAMES = (
    "vehicle", "control_unit", "parent", "revision", "flash", "session", "run", "restore", "wanted_snapshot",
    "read_snapshot", "coding_snapshot", "baseline_session", "dyno", "by",
)  # fmt: skip


def of(scenario: Scenario, do: str) -> list[dict[str, Any]]:
    return [step for step in scenario.steps if step["do"] == do]


def test_every_name_was_given_by_an_earlier_step(scenario: Scenario) -> None:
    known: set[str] = {"mira"}
    for step in scenario.steps:
        for field in NAMES:
            if step.get(field) is not None:
                assert step[field] in known, (step["do"], field, step[field])
        for unit in step.get("control_units", ()):
            assert unit in known
        if "label" in step:
            assert step["do"] == "add_person" or step["label"] not in known
            known.add(step["label"])


def test_every_file_is_named_by_a_step_and_every_named_file_exists(scenario: Scenario) -> None:
    named = {step["file"] for step in scenario.steps if "file" in step}
    named |= {name for step in scenario.steps for name in step.get("files", ())}
    assert named == set(scenario.files)
    assert all(path.stat().st_size > 0 for path in scenario.files.values())


@pytest.mark.parametrize(
    ("do", "shape", "apart"),
    [
        ("register_vehicle", NewVehicle, set()),
        ("record_session", NewSession, {"vehicle"}),
        ("log_flash", NewFlash, {"control_unit"}),
        ("set_limit", NewLimit, {"vehicle"}),
    ],
)
def test_fields_are_named_as_the_actions_name_them(scenario: Scenario, do: str, shape: type, apart: set[str]) -> None:
    known = {field.name.removesuffix("_id") for field in fields(shape)}
    for step in of(scenario, do):
        assert set(step) - FRAME - apart <= known


def test_strip_runs_name_only_results_the_record_keeps(scenario: Scenario) -> None:
    steps = of(scenario, "record_strip_run")
    assert len(steps) >= 4
    assert all(set(step["results"]) <= set(FIELDS) for step in steps)


def test_the_check_digit_is_that_of_the_regulation() -> None:
    # 49 CFR 565.15(c): the hypothetical example quoted with the rule, and the sample of table V.
    assert with_check_digit("1M8GDM9A0KP042788") == "1M8GDM9AXKP042788"
    assert with_check_digit("1G4AH59H05G118341") == "1G4AH59H45G118341"


def test_vins_are_well_formed_distinct_and_of_no_country(scenario: Scenario) -> None:
    vins = [step["vin"] for step in of(scenario, "register_vehicle")]
    assert len(set(vins)) == len(vins) >= 6
    for vin in vins:
        assert re.fullmatch("[0-9A-HJ-NPR-Z]{17}", vin)
        if vin[0] in "12345":
            assert vin == with_check_digit(vin)
            # 49 CFR 565.15(d): from model year 2010 on position 7 of a car is a letter; 13 to 17 are digits.
            assert vin[6].isalpha()
            assert vin[12:].isdigit()
        assert vin[:2] in {"U2", "U8", "U9", "PX", "30"}


def test_identity_numbers_have_the_lengths_of_the_standard(scenario: Scenario) -> None:
    # SAE J1979 service 09: a calibration ID has 16 characters, a CVN 4 bytes (from memory).
    for step in [*of(scenario, "add_control_unit"), *of(scenario, "check_identity")]:
        assert all(re.fullmatch("[0-9A-Z]{16}", text) for text in step["calibration_ids"])
        assert all(re.fullmatch("[0-9A-F]{8}", text) for text in step["cvns"])


def test_the_states_that_the_first_page_shows_are_all_there(scenario: Scenario) -> None:
    last_flash = [step for step in of(scenario, "log_flash") if step["label"].startswith("warder")][-1]
    after = [step for step in scenario.steps if "minutes_ago" in step]
    assert last_flash["control_unit"] == "warder.transmission"
    assert not any(step["do"] in ("write_coding_back", "record_first_start") for step in after)
    assert [s["control_unit"] for s in of(scenario, "check_identity") if s["expect"] == "differs"] == ["hauler.engine"]
    closed = Counter(step["restore"] for step in of(scenario, "close_step"))
    assert closed["lanner.restore"] > closed["sirrus.restore"] > 3
    assert {step["restore"] for step in of(scenario, "sign_off")} == {"lanner.restore"}
    assert {step["do"] for step in scenario.steps if step.get("vehicle") == "piper"}.isdisjoint({"log_revision"})
    decided = {step["revision"]: step["decision"] for step in of(scenario, "decide_revision")}
    assert decided["astrel.engine.r4"] == "released"
    assert "astrel.engine.r5" not in decided
    parents = {step["label"]: step["parent"] for step in of(scenario, "log_revision")}
    assert parents["astrel.engine.r2"] == parents["astrel.engine.r3"] == "astrel.engine.r1"


def test_coding_is_written_back_and_verified_before_any_first_start(scenario: Scenario) -> None:
    settled: set[str] = set()
    for step in scenario.steps:
        if step["do"] in ("write_coding_back", "waive_coding"):
            settled.add(step["flash"])
        if step["do"] == "record_first_start":
            assert step["flash"] in settled


def test_two_cars_have_more_than_one_control_unit(scenario: Scenario) -> None:
    units = Counter(step["vehicle"] for step in of(scenario, "add_control_unit"))
    assert {car for car, count in units.items() if count > 1} == {"sirrus", "warder"}
