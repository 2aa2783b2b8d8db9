"""A program can have the power of a log of roller speed, by the rollers that are kept for the dyno."""

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record import dyno, people
from app.record.engine import reading, transaction
from app.record.verify import verify
from tests.api.caller import Caller
from tests.dyno_car import Car, car_on_record, session_of

ROLLERS = {"inertia_kgm2": 90.0, "inertia_u": 0.9, "radius_m": 0.3048}


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return car_on_record(session, person)


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine, car: Car) -> Caller:
    return Caller(app, sqlite_engine, "tuner")


@pytest.fixture
def session_id(sqlite_engine: Engine, car: Car) -> int:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return session_of(session, person, car, 1, seeds=())


def log(*, engine: bool = True) -> bytes:
    """A constant 150 kW spins a roller up as ω² = ω₀² + 2Pt/I; the engine turns three times as fast."""
    t = np.arange(0, 6, 0.02)
    speed = np.sqrt(80.0**2 + 2 * 150_000.0 * t / 90.0) * 30 / np.pi
    rows = [f"{a:.3f},{n:.5f}" + (f",{3 * n:.5f}" if engine else "") for a, n in zip(t, speed, strict=True)]
    head = "time [s],roller speed [rpm]" + (",engine speed [rpm]" if engine else "")
    return "\n".join([head, *rows]).encode()


def test_a_log_gives_power_torque_and_uncertainty(caller: Caller, car: Car) -> None:
    assert caller.upload(f"/dynos/{car.dyno_id}/roller-power", log()).status_code == 409
    kept = caller.post(f"/dynos/{car.dyno_id}/rollers", ROLLERS)
    assert kept.status_code == 200
    assert caller.get(f"/dynos/{car.dyno_id}").json()["rollers"] == kept.json()
    assert caller.get(f"/dynos/{car.dyno_id}").json()["columns"] is None
    found = caller.upload(f"/dynos/{car.dyno_id}/roller-power", log()).json()
    inner = slice(25, -25)
    assert found["power_kw"][inner] == pytest.approx([150.0] * 250, abs=0.5)
    # 1 % of the inertia is 1 % of the power.
    assert found["power_u_kw"][inner] == pytest.approx([1.5] * 250, abs=0.05)
    expected = np.array(found["power_kw"]) * 30_000 / (np.pi * np.array(found["engine_speed_rpm"]))
    assert found["torque_nm"] == pytest.approx(expected.tolist())


def test_impossible_rollers_are_refused(caller: Caller, car: Car) -> None:
    assert caller.post(f"/dynos/{car.dyno_id}/rollers", ROLLERS | {"radius_m": 0.0}).status_code == 422
    assert caller.get(f"/dynos/{car.dyno_id}").json()["rollers"] is None


def test_a_log_is_recorded_as_a_pull_and_keeps_what_was_assumed(
    caller: Caller, car: Car, session_id: int, sqlite_engine: Engine
) -> None:
    place = f"/dyno-sessions/{session_id}/roller-runs"
    refused = caller.upload(place, log())
    assert refused.status_code == 409
    assert f"/dynos/{car.dyno_id}/rollers first" in refused.text
    caller.post(f"/dynos/{car.dyno_id}/rollers", ROLLERS)
    power = caller.upload(f"/dynos/{car.dyno_id}/roller-power", log()).json()
    answer = caller.upload(place, log(), name="pull.csv")
    assert answer.status_code == 201
    (run,) = answer.json()["runs"]
    assert (run["file_name"], run["position"]) == ("pull.csv", 1)
    # 95 % of 0.9 kg·m² is 1.76.
    assert run["findings"][0].startswith("Power computed from roller speed with inertia 90.00 ± 1.76 kg·m²")
    kept = caller.get(f"/runs/{run['id']}").json()["channels"]
    assert kept["power_kw"] == pytest.approx(power["power_kw"], rel=1e-5)
    assert kept["torque_nm"] == pytest.approx(power["torque_nm"], rel=1e-5)
    assert kept["engine_speed_rpm"] == pytest.approx(power["engine_speed_rpm"], rel=1e-5)
    # Once is enough: the same file again is refused and leaves nothing.
    assert caller.upload(place, log()).status_code == 409
    with reading(sqlite_engine) as session:
        assert len(dyno.runs_of(session, [session_id])[session_id]) == 1
        assert verify(session).clean


def test_engine_speed_comes_from_the_gearing_sent_or_from_that_on_record(
    caller: Caller, car: Car, session_id: int, sqlite_engine: Engine
) -> None:
    caller.post(f"/dynos/{car.dyno_id}/rollers", ROLLERS)
    place = f"/dyno-sessions/{session_id}/roller-runs"
    sent = caller.upload(place, log(engine=False), ratio="3.0", tyre_radius_m="0.3048").json()["runs"][0]
    channels = caller.get(f"/runs/{sent['id']}").json()["channels"]
    # The tyre is as large as the roller and the ratio is 3: three engine turns per roller turn.
    assert channels["engine_speed_rpm"][50] == pytest.approx(
        3 * np.sqrt(80.0**2 + 2 * 150_000.0 * 1.0 / 90.0) * 30 / np.pi, rel=1e-3
    )
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        ungeared = session_of(session, person, car, 2, seeds=(), gear="")
        geared = session_of(session, person, car, 3, seeds=())
    # Gear 4 of the car: 1.2 × 3.2 at 0.31 m.
    found = caller.upload(f"/dyno-sessions/{geared}/roller-runs", log(engine=False)).json()
    assert "engine speed from 3.840 engine turns per wheel turn and 0.310 m, no slip" in found["findings"][0]
    place = f"/dyno-sessions/{ungeared}/roller-runs"
    for fields, says in (({}, "needs engine speed"), ({"ratio": "3"}, "go together")):
        refused = caller.upload(place, log(engine=False), **fields)
        assert refused.status_code == 422
        assert says in refused.text
    with reading(sqlite_engine) as session:
        assert dyno.runs_of(session, [ungeared])[ungeared] == []
