"""A dyno that records roller speed alone: its power is computed, kept as a pull, and says what was assumed."""

import re

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record import channels, dyno, people
from app.record.engine import reading, transaction
from app.record.verify import verify
from tests.browser import Browser
from tests.dyno_car import Car, car_on_record, session_of

INERTIA, RADIUS, POWER_W = 90.0, 0.3048, 150_000.0
DRAG_A, DRAG_C = 120.0, 0.35
TYPED = {"inertia": "90", "inertia_u": "1,8", "radius": "0.3048"}


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return car_on_record(session, person)


@pytest.fixture
def session_id(sqlite_engine: Engine, car: Car) -> int:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return session_of(session, person, car, 1, seeds=())


def log(head: str, *columns: np.ndarray) -> bytes:
    rows = [";".join(f"{v:.5f}" for v in row).replace(".", ",") for row in zip(*columns, strict=True)]
    return "\n".join([head, *rows, ""]).encode()


def pull() -> bytes:
    """Constant power: ω² = ω₀² + 2Pt/I; decimal commas, German headings."""
    t = np.arange(0, 6, 0.02)
    omega = np.sqrt(80.0**2 + 2 * POWER_W * t / INERTIA)
    return log("Zeit [s];Rollendrehzahl [1/min]", t, omega * 30 / np.pi)


def coast() -> bytes:
    """A drag of A + C·v² slows a mass down as v = √(A/C)·tan(arctan(v₀·√(C/A)) − t·√(A·C)/M)."""
    mass, t = INERTIA / RADIUS**2, np.arange(0, 40, 0.5)
    root = np.sqrt(DRAG_C / DRAG_A)
    v = np.tan(np.arctan(45 * root) - t * np.sqrt(DRAG_A * DRAG_C) / mass) / root
    return log("Time [s];Road speed [km/h]", t, v * 3.6)


def value(body: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', body)
    assert found is not None, name
    return found[1]


def test_a_log_of_roller_speed_gives_power_with_its_interval(tuner: Browser, car: Car) -> None:
    place = f"/dynos/{car.dyno_id}/rollers"
    assert f'href="{place}"' in tuner.get(f"/dynos/{car.dyno_id}").text
    body = tuner.submit(f"{place}/power", TYPED, files={"file": ("pull.csv", pull())}).text
    found = re.search(r"Most power at the roller&#39;s surface: (\d+\.\d) ± (\d\.\d)\u202fkW", body)
    assert found is not None
    # 150 kW; 2 % of the inertia is 3 kW.
    assert float(found[1]) == pytest.approx(150.0, abs=0.6)
    assert float(found[2]) == pytest.approx(3.0, abs=0.2)
    assert "inertia 90.00 ± 1.80 kg·m²" in body
    assert "The log has no engine speed" in body
    assert 'id="roller-torque-chart"' not in body


def test_the_log_goes_on_with_the_form_to_the_table_and_to_the_pull(
    tuner: Browser, car: Car, session_id: int, sqlite_engine: Engine
) -> None:
    place = f"/dynos/{car.dyno_id}/rollers"
    fields = TYPED | {"ratio": "3.2", "tyre": "0.31", "session_id": str(session_id)}
    body = tuner.submit(f"{place}/power", fields, files={"file": ("pull.csv", pull())}).text
    assert 'id="roller-torque-chart"' in body
    fields |= {"log": value(body, "log"), "log_name": value(body, "log_name")}
    table = tuner.submit(f"{place}/power.csv", fields, files={"file": ("", b"")})
    assert table.headers["content-type"].startswith("text/csv")
    head, first, *_ = table.text.lstrip("\ufeff").splitlines()
    assert head == "time_s,road_speed_kmh,power_kw,power_u_kw,engine_speed_rpm,torque_nm"
    assert len(first.split(",")) == 6
    sent = tuner.submit(f"{place}/pulls", fields, files={"file": ("", b"")})
    assert sent.status_code == 303
    with reading(sqlite_engine) as session:
        (kept,) = dyno.runs_of(session, [session_id])[session_id]
        data = channels.unpack(kept.run.channels)
        assert verify(session).clean
    assert data["power_kw"][25:-25] == pytest.approx(150.0, abs=0.6)
    # Without slip n = v·i/r·30/π, and T = P·30 000/(π·n) with P in kW.
    speed = data["vehicle_speed_kmh"] / 3.6 * 3.2 / 0.31 * 30 / np.pi
    assert data["engine_speed_rpm"] == pytest.approx(speed)
    assert data["torque_nm"] == pytest.approx(data["power_kw"] * 30_000 / (np.pi * speed))
    shown = tuner.get(sent.headers["location"].split("#")[0]).text
    assert "Power computed from roller speed with inertia 90.00 ± 1.80 kg·m²" in shown
    assert tuner.get(f"/runs/{kept.run.id}/file").content == pull()


def test_the_gearing_of_the_sessions_car_gives_engine_speed(tuner: Browser, car: Car, session_id: int) -> None:
    """Gear 4 of the car: 1.2 × 3.2 = 3.84 engine turns per wheel turn at 0.31 m."""
    fields = TYPED | {"session_id": str(session_id)}
    body = tuner.submit(f"/dynos/{car.dyno_id}/rollers/power", fields, files={"file": ("p.csv", pull())}).text
    assert "engine speed from 3.840 engine turns per wheel turn and 0.310 m" in body


def test_a_coast_down_fills_the_drag_and_is_kept_with_the_dyno(tuner: Browser, car: Car) -> None:
    place = f"/dynos/{car.dyno_id}/rollers"
    body = tuner.submit(f"{place}/coast", TYPED, files={"coast": ("coast.csv", coast())}).text
    assert float(value(body, "a")) == pytest.approx(DRAG_A, abs=1.0)
    assert float(value(body, "c")) == pytest.approx(DRAG_C, abs=0.005)
    assert float(value(body, "a_u")) > 0
    names = ("inertia", "inertia_u", "radius", "a", "a_u", "b", "b_u", "c", "c_u")
    kept = {name: value(body, name) for name in names}
    sent = tuner.submit(place, kept, files={"file": ("", b"")})
    assert sent.status_code == 303
    again = tuner.get(place).text
    assert value(again, "a") == kept["a"]
    assert "Kept for this dyno: inertia 90.00 ± 1.80 kg·m²" in again
    # The columns of its files are another matter, and stay unconfirmed.
    assert "column is confirmed" not in tuner.get(f"/dynos/{car.dyno_id}").text


@pytest.mark.parametrize(
    ("step", "change", "field", "word"),
    [
        ("power", {"inertia": ""}, "inertia", "Inertia is missing"),
        ("power", {"radius": "-1"}, "radius", "must be above 0"),
        ("power", {"a_u": "x"}, "a_u", "is no number"),
        ("power", {"log": "none"}, "file", "choose it again"),
        ("power", {"ratio": "3.2"}, "tyre", "go together"),
        ("pulls", {}, "session_id", "Choose the session"),
        ("coast", {}, "coast", "Choose a file"),
    ],
)
def test_a_refused_step_comes_back_as_typed_with_the_sentence_at_its_field(
    tuner: Browser, car: Car, step: str, change: dict[str, str], field: str, word: str
) -> None:
    file = {} if "log" in change or step == "coast" else {"file": ("pull.csv", pull())}
    answer = tuner.submit(f"/dynos/{car.dyno_id}/rollers/{step}", TYPED | change, files=file or {"file": ("", b"")})
    assert answer.status_code == 422
    assert word in answer.text
    assert f'id="{field}-error"' in answer.text
    assert value(answer.text, "inertia_u") == "1,8"


def test_the_inertia_may_be_given_as_a_mass_at_the_surface(tuner: Browser, car: Car) -> None:
    mass = INERTIA / RADIUS**2
    fields = {"inertia": f"{mass:.6f}", "inertia_unit": "kg", "radius": "0.3048"}
    body = tuner.submit(f"/dynos/{car.dyno_id}/rollers/power", fields, files={"file": ("p.csv", pull())}).text
    assert "with inertia 90.00 kg·m²" in body
