"""The tree says which step brought what; a release says which limits nobody observed."""

import re

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.actions.decide_revision import decide_revision
from app.actions.set_limit import NewLimit, set_limit
from app.errors import BadInput
from app.record import journal, people
from app.record.engine import transaction
from app.record.tables import Person
from tests.browser import Browser
from tests.dyno_car import START, Car, car_on_record, flashed, session_of


class Shop:
    """Stock, revision 1 (+20 N·m) and revision 2 made from it (+35 N·m), each measured on one dyno."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        with transaction(engine) as session:
            person = people.by_name(session, "tuner")
            assert person is not None
            self.car: Car = car_on_record(session, person)
            first, second = self.car.revision_ids
            self.stock = session_of(session, person, self.car, 0.5, purpose="baseline")
            flashed(session, person, self.car, first, day=1)
            self.first = session_of(session, person, self.car, 1.5, gain=20.0)
            flashed(session, person, self.car, second, day=2)
            self.second = session_of(session, person, self.car, 2.5, gain=35.0)

    def limit(self, limit: NewLimit) -> None:
        with transaction(self.engine) as session:
            set_limit(session, person=self.person(session), at=START, vehicle_id=self.car.vehicle_id, limit=limit)

    def person(self, session: object) -> Person:
        found = people.by_name(session, "tuner")  # type: ignore[arg-type]  # a session of the test
        assert found is not None
        return found


@pytest.fixture
def shop(app: FastAPI, sqlite_engine: Engine) -> Shop:
    return Shop(sqlite_engine)


def words_of(body: str) -> str:
    return re.sub(r"[ \n]+", " ", re.sub(r"<[^>]*>", " ", body))


def test_each_step_is_told_over_its_parent_and_over_stock(tuner: Browser, shop: Shop) -> None:
    body = words_of(tuner.get(f"/control-units/{shop.car.unit_id}/gains").text)
    assert "2 of 2 revisions measured against what they were made from" in body
    rows = re.findall(
        r"Revision (\d) “[^”]*” [^“]*? (stock|revision 1) \+([\d.]+) ± ([\d.]+)\u202fkW at ([\d,]+)\u202frpm", body
    )
    assert [(number, base) for number, base, *_ in rows] == [("1", "stock"), ("2", "revision 1")]
    for (_, _, gain, half, speed), torque in zip(rows, (20.0, 15.0), strict=True):
        # P = T·ω for the torque that was drawn.
        drawn = torque * float(speed.replace(",", "")) * 3.14159265 / 30000
        assert abs(float(gain) - drawn) <= float(half)


def test_the_tree_on_the_cars_page_carries_the_gain_over_stock(tuner: Browser, shop: Shop) -> None:
    body = tuner.get(f"/vehicles/{shop.car.vehicle_id}").text
    subs = re.findall(r'class="tree-sub"[^>]*>([^<]*)<', body)
    assert sum("\u202fkW" in text and "±" in text for text in subs) == 2


def test_a_step_that_was_not_measured_says_so(tuner: Browser, shop: Shop) -> None:
    with transaction(shop.engine) as session:
        lonely = car_on_record(session, shop.person(session), vin="30KLN3C65NB004710", dyno="Bay 2")
    body = words_of(tuner.get(f"/control-units/{lonely.unit_id}/gains").text)
    assert "0 of 2 revisions" in body
    assert "Not measured yet." in body


def test_a_release_names_the_limits_that_nobody_observed(shop: Shop) -> None:
    shop.limit(NewLimit("knock_retard_deg", "max", 3.0))
    shop.limit(NewLimit("exhaust_temperature_c", "max", 800.0))
    with transaction(shop.engine) as session:
        fields = {"revision_id": shop.car.revision_ids[1], "decision": "released"}
        with pytest.raises(BadInput, match="crossed a limit of this car"), session.begin_nested():
            decide_revision(session, person=shop.person(session), at=START, **fields)  # type: ignore[arg-type]  # mixed
        decide_revision(
            session,
            person=shop.person(session),
            at=START,
            limits_reason="Short pulls only, manifold rated for 950 °C",
            **fields,  # type: ignore[arg-type]  # mixed
        )
        entry = journal.page(session, limit=1)[0]
    assert entry.facts["limits_not_observed"] == ["Knock retard max 3 °: not observed in any pull."]
    assert len(entry.facts["limit_crossings"]) == 1
