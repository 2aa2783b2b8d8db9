"""The first page: what waits, in order of danger, each with the way to do it; cars in the shop; an empty start."""

import re

import pytest
from sqlalchemy import Engine

from app.record.tables import ControlUnit, Vehicle
from tests.browser import Browser
from tests.pages.prepared import content, shop_on
from tests.shop import STOCK, Shop, changed


def test_an_empty_record_offers_the_first_step(front_desk: Browser) -> None:
    page = front_desk.get("/")
    assert "No cars on record yet" in content(page)
    assert 'href="/vehicles/new"' in page.text


@pytest.fixture
def busy(app: object, sqlite_engine: Engine) -> None:
    """A car with coding pending, one with foreign numbers, one with a single read, one with nothing open."""
    with shop_on(sqlite_engine) as shop:
        calm = shop.car(plate="CALM 1", loses_coding=False, visit_reason="Tyres.", odometer_km=1.0)
        shop.read_back(shop.flash(_stocked(shop, calm)), STOCK)
        single = shop.car(plate="SINGLE 2")
        shop.read(shop.unit(single))
        foreign = shop.car(plate="FOREIGN 3", loses_coding=False)
        shop.scan(_stocked(shop, foreign), software_number="DEALER-9")
        pending = shop.car(plate="PENDING 4", visit_reason="Torque.", odometer_km=5.0)
        unit = _stocked(shop, pending)
        shop.read_back(shop.flash(unit, shop.revision(unit, changed(STOCK, 0x700))), changed(STOCK, 0x700))


def _stocked(shop: Shop, vehicle: Vehicle) -> ControlUnit:
    unit = shop.unit(vehicle)
    shop.stock(unit)
    return unit


def test_what_waits_comes_in_order_of_danger_with_its_way(front_desk: Browser, busy: None) -> None:
    page = front_desk.get("/")
    text = content(page)
    places = [text.index(f"Velmora Sirrus · {plate}:") for plate in ("PENDING 4", "FOREIGN 3", "SINGLE 2")]
    assert places == sorted(places)
    assert "CALM 1:" not in text
    ways = re.findall(r'href="(/(?:flashes|identity-checks|control-units)/\d+)', page.text)
    assert ways == ["/flashes/2", "/identity-checks/1", "/control-units/2"]
    for way in ways:
        assert front_desk.get(way).status_code == 200


def test_cars_in_the_shop_say_what_is_on_them(front_desk: Browser, busy: None) -> None:
    text = content(front_desk.get("/"))
    shop = text[text.index("Cars in the shop") :]
    assert shop.index("CALM 1") < shop.index("PENDING 4")
    assert "Stock, verified by read-back." in shop
    assert "Revision 1 “Stage one”, verified by read-back." in shop
    assert "SINGLE 2" not in shop


def test_when_nothing_waits_that_is_said(front_desk: Browser, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        shop.car()
    assert "Nothing waits" in content(front_desk.get("/"))
