"""A program can hand in strip runs, economy trials and limits."""

from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record import people
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.browser import Browser
from tests.dyno_car import Car, MeasuredCar, car_on_record, flashed


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        made = car_on_record(session, person)
        flashed(session, person, made, made.revision_ids[0], day=1)
        return made


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine, car: Car) -> Caller:
    return Caller(app, sqlite_engine, "tuner")


SLIP = {"et_60ft_s": 2.1, "et_660ft_s": 9.2, "et_1320ft_s": 14.1, "trap_1320ft_kmh": 158.0, "place": "Flat strip"}


def test_a_strip_run_is_kept_as_the_slip_has_it_and_attributed_by_time(caller: Caller, car: Car) -> None:
    before = caller.post(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"run_at": "2026-03-02T09:00:00Z"})
    after = caller.post(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"run_at": "2026-03-05T09:00:00Z"})
    assert before.status_code == after.status_code == 201, before.text
    assert before.json()["attributions"][0]["revision_id"] is None
    assert after.json()["attributions"][0]["revision_id"] == car.revision_ids[0]
    assert {key: after.json()[key] for key in SLIP} == SLIP
    assert after.json()["et_1000ft_s"] is None
    listed = caller.get(f"/vehicles/{car.vehicle_id}/strip-runs").json()["items"]
    assert [one["id"] for one in listed] == [after.json()["id"], before.json()["id"]]


@pytest.mark.parametrize(
    "changed", [{"et_660ft_s": 15.0}, {"et_60ft_s": -1.0}, {"trap_1320ft_kmh": 0.0}, {"et_60ft_s": "2.1"}]
)
def test_a_slip_that_cannot_be_is_refused(caller: Caller, car: Car, changed: dict[str, object]) -> None:
    assert caller.post(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | changed).status_code == 422


def test_an_empty_slip_is_refused(caller: Caller, car: Car) -> None:
    assert caller.post(f"/vehicles/{car.vehicle_id}/strip-runs", {"place": "Flat strip"}).status_code == 422


def test_an_economy_trial_gives_its_consumption(caller: Caller, car: Car) -> None:
    answer = caller.post(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance_km": 412.0, "fuel_l": 31.4})
    assert answer.status_code == 201
    assert answer.json()["consumption_l_per_100km"] == pytest.approx(7.621359, abs=1e-6)
    refused = caller.post(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance_km": 4.12, "fuel_l": 31.4})
    assert refused.status_code == 422
    assert refused.json()["field"] == "fuel_l"


def test_results_are_attributed_anew_with_a_reason(caller: Caller, car: Car) -> None:
    run = caller.post(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP).json()
    trial = caller.post(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance_km": 400.0, "fuel_l": 30.0}).json()
    body = {"control_unit_id": car.unit_id, "revision_id": None, "reason": "Stock was written on the way"}
    for path in (f"/strip-runs/{run['id']}/attribution", f"/economy-trials/{trial['id']}/attribution"):
        assert caller.post(path, body).json()["attributions"][0]["revision_id"] is None
        assert caller.post(path, body | {"reason": "x"}).status_code == 422


LIMIT = {"channel": "lambda_", "bound": "max", "value": 0.88, "speed_lo_rpm": 3000.0}


def test_a_limit_is_set_replaced_and_withdrawn_and_each_stays(caller: Caller, car: Car) -> None:
    path = f"/vehicles/{car.vehicle_id}/limits"
    first = caller.post(path, LIMIT).json()
    second = caller.post(path, LIMIT | {"value": 0.86, "supersedes_id": first["id"]}).json()
    assert [one["id"] for one in caller.get(path).json()] == [second["id"]]
    assert caller.post(path, LIMIT | {"supersedes_id": first["id"]}).status_code == 409
    assert caller.post(f"/limits/{second['id']}/withdrawal", {"reason": ""}).status_code == 422
    assert caller.post(f"/limits/{second['id']}/withdrawal", {"reason": "Other turbo"}).json()["withdrawn"] is True
    assert caller.get(path).json() == []


@pytest.mark.parametrize("named_by", ["the limit", "its withdrawal"])
def test_a_withdrawn_limit_is_put_back_once_as_it_stood(caller: Caller, car: Car, named_by: str) -> None:
    path = f"/vehicles/{car.vehicle_id}/limits"
    limit = caller.post(path, LIMIT).json()
    early = caller.post(f"/limits/{limit['id']}/reinstatement", {})
    assert (early.status_code, early.json()["detail"]) == (409, "This limit was not withdrawn; it is in force.")
    gone = caller.post(f"/limits/{limit['id']}/withdrawal", {"reason": "Other turbo"}).json()
    back = caller.post(f"/limits/{(limit if named_by == 'the limit' else gone)['id']}/reinstatement", {})
    assert back.status_code == 201
    differing = {"id", "supersedes_id"}
    assert {k: v for k, v in back.json().items() if k not in differing} == {
        k: v for k, v in limit.items() if k not in differing
    }
    assert caller.get(path).json() == [back.json()]
    assert caller.post(f"/limits/{limit['id']}/reinstatement", {}).status_code == 409
    replaced = caller.post(path, LIMIT | {"value": 0.86, "supersedes_id": back.json()["id"]})
    assert replaced.status_code == 201
    refused = caller.post(f"/limits/{back.json()['id']}/reinstatement", {})
    assert refused.json()["detail"].startswith("This limit was replaced by another one")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"channel": "boost"}, "channel"),
        ({"channel": "time_s"}, "channel"),
        ({"bound": "below"}, "bound"),
        ({"severity": "high"}, "severity"),
        ({"speed_hi_rpm": 2000.0}, "speed_hi_rpm"),
        ({"load_lo_percent": 90.0, "load_hi_percent": 80.0}, "load_hi_percent"),
    ],
)
def test_a_limit_that_can_never_be_seen_is_refused(
    caller: Caller, car: Car, changed: dict[str, object], field: str
) -> None:
    answer = caller.post(f"/vehicles/{car.vehicle_id}/limits", LIMIT | changed)
    assert answer.status_code == 422
    assert answer.json()["field"] == field


# A run computed from a session's wheel power


@pytest.fixture
def measured(app: FastAPI, sqlite_engine: Engine) -> MeasuredCar:
    return MeasuredCar(sqlite_engine)


def test_a_computed_run_is_had_for_one_session_or_as_the_change_between_two(
    front_desk: Browser, measured: MeasuredCar
) -> None:
    page = f"/vehicles/{measured.car.vehicle_id}/computed-run"

    def answer(**query: object) -> dict[str, Any]:
        got = front_desk.get(f"{page}.json", params=query, follow_redirects=True)
        assert got.status_code == 200, got.text
        return dict(got.json())

    offered = answer()
    assert set(offered["offered_session_ids"]) == {measured.before, measured.after}
    assert (offered["figures"], offered["changes"], offered["taken_for_granted"]) == (None, None, None)
    first, second = (answer(session=one)["figures"] for one in (measured.before, measured.after))
    change = answer(session=measured.after, against=measured.before)
    assert (change["session_id"], change["against_session_id"]) == (measured.after, measured.before)
    quarter = change["changes"]["et_1320ft_s"]
    assert quarter["before"] == pytest.approx(first["et_1320ft_s"], rel=1e-6)
    assert quarter["change"] == pytest.approx(quarter["after"] - quarter["before"], abs=1e-9)
    # Sampled from the gain, the interval lies about the change.
    assert quarter["low"] < quarter["change"] < quarter["high"]
    # 30 N·m more arrive earlier and faster.
    assert second["et_1320ft_s"] < first["et_1320ft_s"] and second["trap_1320ft_kmh"] > first["trap_1320ft_kmh"]
    heavy = answer(session=measured.before, cda="0,9")
    assert heavy["taken_for_granted"]["cda_m2"] == 0.9
    assert heavy["figures"]["trap_1320ft_kmh"] < first["trap_1320ft_kmh"]
    shown = front_desk.get(page, params={"session": measured.before}).text
    assert f"{first['et_1320ft_s']:.3f}\u202fs" in shown
    assert f'href="{page}.json?session={measured.before}"' in shown


@pytest.mark.parametrize(
    ("changed", "field"),
    [({"session": "9999"}, "session"), ({"against": "x"}, "against"), ({"cda": "9"}, "cda"),
     ({"shift_speed": "19000"}, "shift_speed")],
)  # fmt: skip
def test_a_run_that_cannot_be_computed_is_refused_at_its_field(
    app: FastAPI, sqlite_engine: Engine, measured: MeasuredCar, changed: dict[str, str], field: str
) -> None:
    caller = Caller(app, sqlite_engine, "front_desk")
    path = f"/vehicles/{measured.car.vehicle_id}/computed-run"
    answer = caller.get(path, **({"session": measured.before} | changed))
    assert (answer.status_code, answer.json()["field"]) == (422, field)
