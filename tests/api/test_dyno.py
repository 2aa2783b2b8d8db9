"""A program can hand in sessions and pulls, and gets back what was understood."""

from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record import people
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.dyno_car import Car, car_on_record, flashed, pull_csv, pull_mdf4, session_of


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


def opened(caller: Caller, car: Car, **more: object) -> dict[str, object]:
    body = {
        "dyno_id": car.dyno_id,
        "pressure_hpa": 1000.0,
        "temperature_c": 21.0,
        "correction_standard": "sae_j1349",
        "gear": "4",
        "measured_at": "2026-03-04T10:00:00Z",
    }
    answer = caller.post(f"/vehicles/{car.vehicle_id}/dyno-sessions", body | more)
    assert answer.status_code == 201, answer.text
    found: dict[str, object] = answer.json()
    return found


def test_a_session_is_attributed_by_the_flash_log_unless_said_otherwise(caller: Caller, car: Car) -> None:
    by_log = opened(caller, car)
    assert by_log["attributions"] == [
        {"control_unit_id": car.unit_id, "revision_id": car.revision_ids[0], "reason": "from the flash log by time"}
    ]
    said = opened(caller, car, attributed={str(car.unit_id): None})
    assert said["attributions"] == [
        {"control_unit_id": car.unit_id, "revision_id": None, "reason": "confirmed when the session was recorded"}
    ]
    assert caller.get(f"/dyno-sessions/{said['id']}").json()["attributions"] == said["attributions"]


def test_a_session_on_a_control_unit_of_another_car_is_refused(caller: Caller, car: Car) -> None:
    body = {"dyno_id": car.dyno_id, "attributed": {"999": None}}
    answer = caller.post(f"/vehicles/{car.vehicle_id}/dyno-sessions", body)
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"correction_standard": "sae_j1349", "pressure_hpa": None}, "pressure_hpa"),
        ({"correction_standard": "guess"}, "correction_standard"),
        ({"purpose": "fun"}, "purpose"),
        ({"temperature_c": 150.0}, "temperature_c"),
        ({"pressure_hpa": "1000"}, "pressure_hpa"),
        ({"colour": "blue"}, "colour"),
        ({"gear": "x" * 25}, "gear"),
        ({"measured_at": "2026-03-04T10:00:00"}, "measured_at"),
    ],
)
def test_conditions_that_cannot_be_are_refused_by_the_fields_name(
    caller: Caller, car: Car, changed: dict[str, object], field: str
) -> None:
    body = {"dyno_id": car.dyno_id, "pressure_hpa": 1000.0, "temperature_c": 20.0} | changed
    answer = caller.post(f"/vehicles/{car.vehicle_id}/dyno-sessions", body)
    assert answer.status_code == 422
    assert answer.json()["field"] == field


def test_pulls_are_understood_kept_and_given_back_as_recorded(caller: Caller, car: Car) -> None:
    session_id = opened(caller, car)["id"]
    data = pull_csv(7)
    answer = caller.upload(f"/dyno-sessions/{session_id}/runs", data, "warm.csv", start_coolant_c="88.5")
    assert answer.status_code == 201, answer.text
    understood = {column["header"]: (column["quantity"], column["unit"]) for column in answer.json()["columns"]}
    assert understood["Torque [Nm]"] == ("torque_nm", "N·m")
    run = answer.json()["runs"][0]
    assert (run["position"], run["included"], run["points"]) == (1, True, 101)
    assert run["start_coolant_c"] == 88.5
    given = caller.get(f"/runs/{run['id']}").json()["channels"]
    second = data.decode().splitlines()[2].split(";")
    assert [given["engine_speed_rpm"][1], given["torque_nm"][1], given["lambda_"][1]] == [float(x) for x in second[:3]]
    # P = T·ω with ω = n·π/30, in kW.
    assert given["power_kw"][1] == pytest.approx(float(second[1]) * 1550 * 3.141592653589793 / 30000, rel=1e-12)


def test_an_mdf4_log_is_a_pull_like_any_other(caller: Caller, car: Car, tmp_path: Path) -> None:
    session_id = opened(caller, car)["id"]
    answer = caller.upload(f"/dyno-sessions/{session_id}/runs", pull_mdf4(tmp_path, 7), "warm.mf4").json()
    found = [(one["header"], one["quantity"]) for one in answer["columns"]]
    assert found == [("Engine speed", "engine_speed_rpm"), ("Torque", "torque_nm"), ("time", "time_s")]
    (run,) = answer["runs"]
    text = caller.upload(f"/dyno-sessions/{session_id}/runs", pull_csv(7)).json()["runs"][0]
    there, same = (caller.get(f"/runs/{one['id']}").json()["channels"] for one in (run, text))
    assert there["power_kw"] == pytest.approx(same["power_kw"])


def test_the_same_file_twice_in_a_session_is_refused(caller: Caller, car: Car) -> None:
    session_id = opened(caller, car)["id"]
    assert caller.upload(f"/dyno-sessions/{session_id}/runs", pull_csv(7)).status_code == 201
    assert caller.upload(f"/dyno-sessions/{session_id}/runs", pull_csv(7), "other-name.csv").status_code == 409


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"only;words\nand;more\n", b"a;b\n1;2\n3;4\n"])
def test_a_file_without_a_pull_is_refused_with_a_sentence(caller: Caller, car: Car, data: bytes) -> None:
    session_id = opened(caller, car)["id"]
    answer = caller.upload(f"/dyno-sessions/{session_id}/runs", data)
    assert answer.status_code == 422
    assert answer.json()["detail"].endswith(".")


def test_a_pull_is_excluded_only_with_a_reason_and_can_come_back(caller: Caller, car: Car) -> None:
    session_id = opened(caller, car)["id"]
    run_id = caller.upload(f"/dyno-sessions/{session_id}/runs", pull_csv(7)).json()["runs"][0]["id"]
    assert caller.patch(f"/runs/{run_id}", {"included": False, "reason": " "}).status_code == 422
    out = caller.patch(f"/runs/{run_id}", {"included": False, "reason": "Wheel slip at 4,200"}).json()
    assert (out["included"], out["reason"]) == (False, "Wheel slip at 4,200")
    assert caller.get(f"/dyno-sessions/{session_id}").json()["runs"][0]["included"] is False
    assert caller.patch(f"/runs/{run_id}", {"included": True, "reason": "Straps were checked"}).json()["included"]


def test_an_attribution_is_corrected_with_a_reason_and_within_the_car(caller: Caller, car: Car) -> None:
    session_id = opened(caller, car)["id"]
    path = f"/dyno-sessions/{session_id}/attribution"
    body = {"control_unit_id": car.unit_id, "revision_id": car.revision_ids[1], "reason": "Written by hand before"}
    assert caller.post(path, body).json()["attributions"][0]["revision_id"] == car.revision_ids[1]
    assert caller.post(path, body | {"reason": ""}).status_code == 422
    assert caller.post(path, body | {"control_unit_id": 99}).status_code == 404


def test_sessions_of_a_car_come_in_pages(caller: Caller, car: Car, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        ids = [session_of(session, person, car, day, seeds=()) for day in (2, 3, 4)]
    first = caller.get(f"/vehicles/{car.vehicle_id}/dyno-sessions", limit=2).json()
    rest = caller.get(f"/vehicles/{car.vehicle_id}/dyno-sessions", limit=2, cursor=first["next_cursor"]).json()
    assert [one["id"] for one in first["items"] + rest["items"]] == ids[::-1]
    assert rest["next_cursor"] is None


def test_a_front_desk_reads_and_does_not_write(app: FastAPI, sqlite_engine: Engine, caller: Caller, car: Car) -> None:
    session_id = opened(caller, car)["id"]
    desk = Caller(app, sqlite_engine, "front_desk")
    assert desk.get(f"/dyno-sessions/{session_id}").status_code == 200
    assert desk.upload(f"/dyno-sessions/{session_id}/runs", pull_csv(1)).status_code == 403


def test_dynos_are_listed_and_added_once(caller: Caller, car: Car) -> None:
    assert caller.post("/dynos", {"name": "Hub bay"}).status_code == 201
    assert caller.post("/dynos", {"name": "Hub bay"}).status_code == 409
    assert [one["name"] for one in caller.get("/dynos").json()] == ["Bay 1", "Hub bay"]


def test_a_run_tells_the_sweep_that_its_curve_is_made_from(caller: Caller, car: Car) -> None:
    """Drawn: two seconds steady at 2,000 rpm, eight of pull up to 6,000 rpm, two of lift-off; ten samples a second."""
    rows = ["Time [s];Engine speed [1/min];Torque [Nm]"]
    for k in range(121):
        t = k / 10
        speed = 2000 if t < 2 else 2000 + (t - 2) * 500 if t < 10 else 6000 - (t - 10) * 300
        rows.append(f"{t:.1f};{speed:.0f};{20 if t < 2 else 300 if t < 10 else -30}")
    session_id = opened(caller, car)["id"]
    run = caller.upload(f"/dyno-sessions/{session_id}/runs", "\n".join(rows).encode()).json()["runs"][0]
    assert caller.get(f"/runs/{run['id']}").json()["sweep"] == run["sweep"]
    assert caller.get(f"/dyno-sessions/{session_id}").json()["runs"][0]["sweep"] == run["sweep"]
    sweep = run["sweep"]
    assert 2.0 <= sweep["time_from_s"] <= 2.5 and 9.5 <= sweep["time_to_s"] <= 10.0
    assert (sweep["first_sample"], sweep["last_sample"]) == (sweep["time_from_s"] * 10, sweep["time_to_s"] * 10)
    assert sweep["speed_low_rpm"] == pytest.approx(2000 + (sweep["time_from_s"] - 2) * 500)
    assert sweep["speed_high_rpm"] == pytest.approx(2000 + (sweep["time_to_s"] - 2) * 500)
    assert sweep["cut"] == (
        f"{sweep['first_sample']} samples before and {120 - sweep['last_sample']} after the sweep are left out"
    )
    assert "30 %" in sweep["rule"] and sweep["refusal"] is None


def test_a_recording_without_a_sweep_says_why_and_gives_no_figures(caller: Caller, car: Car) -> None:
    rows = ["Engine speed [1/min];Torque [Nm]", *(f"{3000 + k % 3};{200 + k}" for k in range(40))]
    session_id = opened(caller, car)["id"]
    answer = caller.upload(f"/dyno-sessions/{session_id}/runs", "\n".join(rows).encode())
    sweep = answer.json()["runs"][0]["sweep"]
    assert sweep["first_sample"] is None and sweep["cut"] is None
    assert sweep["refusal"].startswith("No pull was found in this recording")
