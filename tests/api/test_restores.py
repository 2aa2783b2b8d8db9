"""A program can work a restore through: evidence in, verdicts out, refusals that say what they wait for."""

from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.restore_car import CODING, PASSWORD, READY, STOCK, TUNED, Car, car_to_restore


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    return car_to_restore(sqlite_engine)


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine, car: Car) -> Caller:
    return Caller(app, sqlite_engine, "tuner")


@pytest.fixture
def boss(app: FastAPI, sqlite_engine: Engine, car: Car) -> Caller:
    return Caller(app, sqlite_engine, "manager")


def opened(caller: Caller, car: Car, **more: Any) -> dict[str, Any]:
    answer = caller.post(f"/vehicles/{car.vehicle_id}/restores", {"reason": "Sale of the car"} | more)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def close(caller: Caller, restore: dict[str, Any], key: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = caller.post(f"/restores/{restore['id']}/steps/{key}", body)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def upload(caller: Caller, restore: dict[str, Any], key: str, data: bytes) -> dict[str, Any]:
    answer = caller.upload(f"/restores/{restore['id']}/steps/{key}", data, "file.bin")
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def work_through(caller: Caller, car: Car, restore: dict[str, Any]) -> None:
    unit = car.unit_id
    numbers = {"hardware_number": "HW-2204", "software_number": "SW-77A", "calibration_ids": ["TK36N5507C"]}
    for key, body in (
        (f"identify.{unit}", numbers),
        (f"secure_stock.{unit}", {}),
        ("supply", {"lowest_v": 13.2, "highest_v": 13.8}),
        (f"flash.{unit}", {"outcome": "completed", "supply_lowest_v": 13.3}),
    ):
        assert close(caller, restore, key, body)["outcome"] == "verified", key
    assert upload(caller, restore, f"read_back.{unit}", STOCK)["outcome"] == "verified"
    assert close(caller, restore, "write_coding", {"completed": True})["outcome"] == "verified"
    assert upload(caller, restore, "compare_coding", CODING)["outcome"] == "verified"
    for key, body in (
        ("parts", {"parts": [{"name": "Air filter", "stock_fitted": True}]}),
        ("faults", {"text": "No faults stored."}),
        ("readiness", {"readiness": [{"control_unit": "engine", "bytes": READY}]}),
    ):
        assert close(caller, restore, key, body)["outcome"] == "verified", key


def test_a_case_opens_with_what_the_record_proposes(caller: Caller, car: Car) -> None:
    found = opened(caller, car)
    assert (found["number"], found["coding_snapshot_id"]) == (1, car.coding_id)
    assert (found["baseline_session_id"], found["margin_percent"]) == (car.baseline_id, 3.0)
    assert found["steps"][0]["control_unit_id"] == car.unit_id
    assert [s["state"] for s in found["steps"][:2]] == ["open", "blocked"]
    assert caller.get(f"/restores/{found['id']}").json() == found
    bare = opened(caller, car, coding_snapshot_id=None, baseline_session_id=None)
    assert (bare["coding_snapshot_id"], bare["baseline_session_id"]) == (None, None)
    assert caller.get(f"/restores/{found['id']}").json()["replaced_by_id"] == bare["id"]


def test_a_step_out_of_order_is_a_problem_that_names_what_it_waits_for(caller: Caller, car: Car) -> None:
    restore = opened(caller, car)
    answer = caller.post(f"/restores/{restore['id']}/steps/supply", {"lowest_v": 13.2, "highest_v": 13.8})
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["details"] == ["Identify the control unit – engine"]


def test_a_whole_restore_ends_in_a_certificate(caller: Caller, boss: Caller, car: Car) -> None:
    restore = opened(caller, car, two_sign_offs=True)
    path = f"/restores/{restore['id']}"
    work_through(caller, car, restore)
    draft = caller.get(f"{path}/certificate").json()
    assert (draft["draft"], draft["headline"]) == (True, "10 of 11 checks verified, 1 not verified.")
    override = {"reason": "The dyno is being repaired; agreed in writing.", "password": PASSWORD}
    assert caller.post(f"{path}/steps/pull?override", override).status_code == 403
    wrong = boss.post(f"{path}/steps/pull?override", override | {"password": "wrong wrong"})
    assert (wrong.status_code, wrong.json()["field"]) == (422, "password")
    assert boss.post(f"{path}/steps/pull?override", override).json()["outcome"] == "overridden"
    signed = caller.post(f"{path}/sign-off", {"name": "tuner", "password": PASSWORD})
    assert (signed.status_code, signed.json()["certificate_issued"]) == (201, False)
    assert caller.post(f"{path}/sign-off", {"name": "tuner", "password": PASSWORD}).status_code == 409
    last = boss.post(f"{path}/sign-off", {"name": "manager", "password": PASSWORD})
    assert (last.status_code, last.json()["certificate_issued"]) == (201, True)
    certificate = caller.get(f"{path}/certificate").json()
    assert certificate["draft"] is False
    assert [one["by"] for one in certificate["overridden"]] == ["manager"]
    assert [one["name"] for one in certificate["signatures"]] == ["tuner", "manager"]
    head = certificate["journal_head"]
    entry = next(e for e in caller.get("/journal").json()["items"] if e["seq"] == head["seq"])
    assert (entry["action"], entry["hash"]) == ("sign off restore", head["hash"])


def test_a_read_back_that_differs_answers_with_the_ranges(caller: Caller, car: Car) -> None:
    restore = opened(caller, car)
    unit = car.unit_id
    close(caller, restore, f"identify.{unit}", {"software_number": "SW-77A"})
    close(caller, restore, f"secure_stock.{unit}", {})
    close(caller, restore, "supply", {"lowest_v": 13.2, "highest_v": 13.8})
    close(caller, restore, f"flash.{unit}", {"outcome": "completed"})
    found = upload(caller, restore, f"read_back.{unit}", TUNED)
    assert (found["outcome"], found["details"]) == ("failed", ["0x8400 to 0x843F: 64 bytes not as in stock"])
    assert found["kept"]["read_back_id"]
    assert upload(caller, restore, f"read_back.{unit}", TUNED)["id"] == found["id"]


@pytest.mark.parametrize(
    ("key", "body"),
    [
        ("identify.{unit}", {}),
        ("identify.{unit}", {"hardware_number": 5}),
        ("identify.{unit}", {"nonsense": True}),
        ("identify.{unit}", {"identity_check_id": "1"}),
    ],
)
def test_a_body_that_cannot_be_used_is_refused(caller: Caller, car: Car, key: str, body: dict[str, Any]) -> None:
    restore = opened(caller, car)
    answer = caller.post(f"/restores/{restore['id']}/steps/{key.format(unit=car.unit_id)}", body)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_what_is_not_there_is_not_found(caller: Caller, car: Car) -> None:
    restore = opened(caller, car)
    assert caller.get("/restores/99").status_code == 404
    assert caller.get("/restores/99/certificate").status_code == 404
    assert caller.post(f"/restores/{restore['id']}/steps/nothing", {}).status_code == 404
    assert caller.post("/vehicles/99/restores", {"reason": "Sale"}).status_code == 404
    assert caller.post(f"/restores/{restore['id']}/steps/sign_off", {}).status_code == 422


def test_a_program_abandons_a_case_with_a_reason(caller: Caller, car: Car) -> None:
    restore = opened(caller, car)
    assert restore["abandoned"] is None
    path = f"/restores/{restore['id']}/abandon"
    refused = caller.post(path, {"reason": "no"})
    assert (refused.status_code, refused.json()["field"]) == (422, "reason")
    found = caller.post(path, {"reason": "The owner drives on with the revision."}).json()["abandoned"]
    assert (found["reason"], found["by"]) == ("The owner drives on with the revision.", "tuner")
    closed = caller.post(f"/restores/{restore['id']}/steps/supply", {"lowest_v": 13.2, "highest_v": 13.8})
    assert closed.status_code == 409
