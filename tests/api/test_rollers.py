"""A program can have the power of a log of roller speed, by the rollers that are kept for the dyno."""

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record import people
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.dyno_car import Car, car_on_record

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


def log() -> bytes:
    """A constant 150 kW spins a roller up as ω² = ω₀² + 2Pt/I; the engine turns three times as fast."""
    t = np.arange(0, 6, 0.02)
    speed = np.sqrt(80.0**2 + 2 * 150_000.0 * t / 90.0) * 30 / np.pi
    rows = [f"{a:.3f},{n:.5f},{3 * n:.5f}" for a, n in zip(t, speed, strict=True)]
    return "\n".join(["time [s],roller speed [rpm],engine speed [rpm]", *rows]).encode()


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
