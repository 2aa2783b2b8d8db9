"""Cars and their control units as JSON: what a program registers, finds and is refused."""

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.browser import Browser
from tests.pages.prepared import entries, is_whole, shop_on
from tests.shop import STOCK, changed

CAR = {
    "vin": "U9ZSHP2A5K0000042",
    "make": "Velmora",
    "model": "Sirrus",
    "plate": "RL 12-AB",
    "customer_name": "R. Halle",
    "year": 2021,
    "rated_power_kw": 180.0,
    "gear_ratios": [3.6, 2.1],
    "odometer_km": 81250.0,
    "visit_reason": "Torque.",
}


@pytest.fixture
def desk(app: FastAPI, sqlite_engine: Engine) -> Caller:
    return Caller(app, sqlite_engine, "front_desk")


@pytest.fixture
def tuner_program(app: FastAPI, sqlite_engine: Engine) -> Caller:
    return Caller(app, sqlite_engine, "tuner")


def test_a_car_is_registered_and_read_again(desk: Caller, sqlite_engine: Engine) -> None:
    answer = desk.post("/vehicles", CAR)
    assert answer.status_code == 201
    made = answer.json()
    assert {key: made[key] for key in ("vin", "plate", "year", "rated_power_kw", "customer_name")} == {
        key: CAR[key] for key in ("vin", "plate", "year", "rated_power_kw", "customer_name")
    }
    assert (made["control_units"], made["on_car_now"], made["coding_pending"]) == ([], [], False)
    assert made["registered_at"].endswith("Z")
    assert desk.get(f"/vehicles/{made['id']}").json() == made
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize(
    ("given", "status", "field", "detail"),
    [
        ({"vin": "U9ZSHP2A5KO000042"}, 422, "vin", "Position 11 holds the letter O"),
        ({"vin": 17}, 422, "vin", "Vin must be text."),
        ({"make": " "}, 422, "make", "The make is missing"),
        ({"year": "2021"}, 422, "year", "must be a whole number"),
        ({"year": 1 << 40}, 422, "year", ""),
        ({"rated_power_kw": True}, 422, "rated_power_kw", "must be a number"),
        ({"rated_power_kw": -5.0}, 422, "rated_power_kw", "Rated power"),
        ({"fuel": "hope"}, 422, "fuel", "choose one of"),
        ({"driven_axles": "left"}, 422, "driven_axles", "choose one of"),
        ({"plate": "X" * 25}, 422, "plate", ""),
        ({"model": "a\u0000b"}, 422, "model", ""),
        ({"odometer_km": -1.0}, 422, "odometer_km", ""),
        ({"pinned": True}, 422, "pinned", "is not a field"),
    ],
)
def test_a_refusal_is_a_problem_that_names_the_field(
    desk: Caller, sqlite_engine: Engine, given: dict[str, object], status: int, field: str, detail: str
) -> None:
    """RFC 9457 problem details."""
    before = entries(sqlite_engine)
    answer = desk.post("/vehicles", CAR | given)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert (problem["status"], problem["field"], problem["instance"]) == (status, field, "/api/v1/vehicles")
    assert detail in problem["detail"]
    assert entries(sqlite_engine) == before


def test_a_known_vin_is_a_conflict_that_points_at_the_car(desk: Caller) -> None:
    desk.post("/vehicles", CAR)
    answer = desk.post("/vehicles", CAR)
    assert answer.status_code == 409
    assert answer.json()["details"] == ["/vehicles/1"]


def test_what_is_no_json_is_refused(desk: Caller) -> None:
    answer = desk.post("/vehicles", content=b"{", headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_search_pages_by_cursor_newest_first(desk: Caller, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        for _ in range(7):
            shop.car()
    found: list[int] = []
    cursor: str | None = None
    while True:
        page = desk.get("/vehicles", limit=3, **({} if cursor is None else {"cursor": cursor})).json()
        found += [one["id"] for one in page["items"]]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert found == [7, 6, 5, 4, 3, 2, 1]
    assert [one["plate"] for one in desk.get("/vehicles", q="sh003").json()["items"]] == ["SH 003"]
    assert desk.get("/vehicles", cursor="x").status_code == 422
    assert desk.get("/vehicles", limit=0).status_code == 422


def test_a_car_tells_what_is_on_it_and_what_waits(desk: Caller, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        vehicle = shop.car()
        unit = shop.unit(vehicle)
        stock = shop.stock(unit)
        revision = shop.revision(unit, changed(STOCK, 0x700))
        shop.flash(unit, revision)
    found = desk.get("/vehicles/1").json()
    (on_car,) = found["on_car_now"]
    assert (on_car["kind"], on_car["certainty"], on_car["revision_id"]) == ("revision", "from the flash log", 1)
    assert found["coding_pending"] is True
    assert [one["severity"] for one in found["attention"]] == ["danger", "attention"]
    assert found["control_units"][0]["stock_sha256"] == stock.sha256


def test_what_is_not_there_is_404(desk: Caller) -> None:
    for address in ("/vehicles/99", "/nothing"):
        answer = desk.get(address)
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
    assert desk.get(f"/vehicles/{10**30}").status_code in (404, 422)


def test_a_control_unit_is_added_by_a_tuner_only(desk: Caller, tuner_program: Caller, sqlite_engine: Engine) -> None:
    desk.post("/vehicles", CAR)
    unit = {
        "role": "engine",
        "hardware_number": "HW-1",
        "calibration_ids": ["CAL-1"],
        "cvns": ["beef"],
        "base_address": 0x8000_0000,
    }
    assert desk.post("/vehicles/1/control-units", unit).status_code == 403
    answer = tuner_program.post("/vehicles/1/control-units", unit)
    assert answer.status_code == 201
    assert (answer.json()["cvns"], answer.json()["base_address"]) == (["0000BEEF"], 0x8000_0000)
    assert tuner_program.post("/vehicles/1/control-units", unit).status_code == 409
    assert tuner_program.post("/vehicles/1/control-units", unit | {"role": "wing"}).json()["field"] == "role"
    assert tuner_program.post("/vehicles/9/control-units", unit).status_code == 404
    assert is_whole(sqlite_engine)


def test_without_a_token_nothing_is_told(app: FastAPI) -> None:
    answer = Browser(app).get("/api/v1/vehicles")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert answer.json()["title"] == "Sign in first"
