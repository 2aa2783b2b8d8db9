"""A program can ask how well a dyno repeats and whether it drifts."""

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.calc.dyno.curve import curve_of, on_common_grid
from app.calc.dyno.repeatability import repeatability
from app.readers.dyno_csv import read_dyno_csv
from app.record import people
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.dyno_car import Car, car_on_record, flashed, pull_csv, session_of


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    """Five sessions of three pulls on stock, one of two pulls with a revision."""
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        made = car_on_record(session, person)
        for day in range(5):
            session_of(session, person, made, day)
        flashed(session, person, made, made.revision_ids[0], day=10)
        session_of(session, person, made, 11, gain=30.0, seeds=(1, 2))
        return made


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine, car: Car) -> Caller:
    return Caller(app, sqlite_engine, "front_desk")


def test_a_dyno_tells_its_pooled_repeatability_as_iso_5725_2_pools_it(caller: Caller, car: Car) -> None:
    found = caller.get(f"/dynos/{car.dyno_id}").json()
    assert [one["pulls"] for one in found["sessions"]] == [3, 3, 3, 3, 3, 2]
    level = [(one["pulls"] - 1, one["s_level_percent"]) for one in found["sessions"]]
    pooled = np.sqrt(sum(dof * s**2 for dof, s in level) / 11)
    assert found["history"]["sessions"] == 6 and found["history"]["degrees_of_freedom"] == pytest.approx(11)
    assert found["history"]["s_level_percent"] == pytest.approx(pooled)
    first = found["sessions"][0]["id"]
    curves = [curve_of(read_dyno_csv(pull_csv(1000 * first + seed)).channels) for seed in (1, 2, 3)]
    expected = repeatability(on_common_grid(curves))
    assert found["sessions"][0]["s_level_percent"] == pytest.approx(expected.s_level_percent)
    assert found["sessions"][0]["s_shape_percent"] == pytest.approx(expected.s_shape_percent)


def test_its_control_charts_hold_sessions_of_one_number_of_pulls_and_one_calibration(caller: Caller, car: Car) -> None:
    found = caller.get(f"/dynos/{car.dyno_id}").json()
    ids = [one["id"] for one in found["sessions"]]
    scatter = found["level_scatter_percent"]
    assert scatter["session_ids"] == ids[:5]
    assert scatter["centre"] == pytest.approx(np.mean(scatter["values"]))
    # B4 = 2.568 for three values (usual tables, from memory).
    assert scatter["upper"] == pytest.approx(2.568 * scatter["centre"], rel=1e-3)
    (one,) = found["cars"]
    assert one["vehicle_id"] == car.vehicle_id and one["on_car"] == "engine stock"
    assert one["mean_power_kw"]["session_ids"] == ids[:5]
    assert "under SAE J1349" in one["note"]


def test_a_dyno_without_sessions_claims_nothing(caller: Caller, app: FastAPI, sqlite_engine: Engine) -> None:
    made = Caller(app, sqlite_engine, "tuner").post("/dynos", {"name": "Bay 9"}).json()
    found = caller.get(f"/dynos/{made['id']}").json()
    assert (found["history"], found["level_scatter_percent"], found["cars"], found["sessions"]) == (None, None, [], [])
    assert caller.get("/dynos/999").status_code == 404
