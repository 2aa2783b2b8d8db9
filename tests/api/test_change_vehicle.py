"""A program changes a car, names its customer and erases the data on request."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine

from app.record import api_tokens, people
from app.record.engine import transaction
from tests.browser import Browser

CAR = {
    "vin": "UU9KLN3C60NB00451",
    "make": "Tarkess",
    "model": "Lanner",
    "plate": "EB 18 LNR",
    "customer_name": "Ottoline Vessmer",
    "rated_power_kw": 221.0,
}
Headers = dict[str, str]


@pytest.fixture
def as_role(app: object, sqlite_engine: Engine) -> Callable[[str], Headers]:
    def headers(role: str) -> Headers:
        with transaction(sqlite_engine) as session:
            person = people.by_name(session, role)
            assert person is not None
            token = api_tokens.make(session, person_id=person.id, label="test", at=datetime.now(UTC))[1]
        return {"authorization": f"Bearer {token}"}

    return headers


@pytest.fixture
def car(anonymous: Browser, as_role: Callable[[str], Headers]) -> str:
    made = anonymous.post("/api/v1/vehicles", json=CAR, headers=as_role("front_desk"))
    assert made.status_code == 201
    return f"/api/v1/vehicles/{made.json()['id']}"


def test_only_what_is_given_changes(anonymous: Browser, as_role: Callable[[str], Headers], car: str) -> None:
    headers = as_role("front_desk")
    before = anonymous.get(car, headers=headers).json()
    after = anonymous.patch(car, json={"plate": "KQ 7 RST", "gear_ratios": [3.6, 2.1]}, headers=headers).json()
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"plate", "gear_ratios", "changed_at"}
    assert anonymous.patch(car, json={"rated_power_kw": None}, headers=headers).json()["rated_power_kw"] is None


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ({"make": None}, 422, "make"),
        ({"plate": "EB 18 LNR"}, 409, None),
        ({"fuel": "steam"}, 422, "fuel"),
        ({"vin": "1M8GDM9AXKP042788", "reason": "slip"}, 403, "vin"),
        ({"year": "2019"}, 422, None),
        ({"colour": "red"}, 422, None),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(
    anonymous: Browser, as_role: Callable[[str], Headers], car: str, body: object, status: int, field: str | None
) -> None:
    answer = anonymous.patch(car, json=body, headers=as_role("front_desk"))
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    if field is not None:
        assert answer.json()["field"] == field


def test_a_change_that_was_not_seen_is_not_overwritten(
    anonymous: Browser, as_role: Callable[[str], Headers], car: str
) -> None:
    headers = as_role("tuner")
    seen = anonymous.get(car, headers=headers).json()["changed_at"]
    assert anonymous.patch(car, json={"model": "Lanner 3.6", "seen_at": seen}, headers=headers).status_code == 200
    assert anonymous.patch(car, json={"model": "Lanner 3.2", "seen_at": seen}, headers=headers).status_code == 409


def test_a_customer_is_named_and_erased(anonymous: Browser, as_role: Callable[[str], Headers], car: str) -> None:
    desk, manager = as_role("front_desk"), as_role("manager")
    owner = anonymous.put(f"{car}/customer", json={"name": "Ibo Karr", "another": True}, headers=desk).json()
    assert anonymous.get(car, headers=desk).json()["customer_id"] == owner["id"]
    address = f"/api/v1/customers/{owner['id']}/erase"
    assert anonymous.post(address, headers=desk).status_code == 403
    erased = anonymous.post(address, headers=manager).json()
    assert (erased["name"], erased["contact"]) == ("", "")
    assert erased["erased_at"] is not None
    assert anonymous.get(car, headers=desk).json()["customer_name"] is None
    assert anonymous.get("/api/v1/vehicles?q=karr", headers=desk).json()["items"] == []
