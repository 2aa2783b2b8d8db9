"""The shop can rely on it that an image the control unit had before is told as such, and kept all the same."""

import pytest
from sqlalchemy.orm import Session

from app.record import same_image
from app.record.tables import ControlUnit, Revision
from tests.calibration_car import BOOST, RAISED, image_of
from tests.shop import Shop

HIGHER = (*RAISED[:7], 2000)


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


@pytest.fixture
def unit(shop: Shop) -> ControlUnit:
    unit = shop.unit()
    shop.stock(unit, image_of())
    return unit


def told(shop: Shop, row: Revision) -> str:
    return " ".join(same_image.warnings(shop.session, row))


def test_a_new_image_says_nothing(shop: Shop, unit: ControlUnit) -> None:
    first = shop.revision(unit, image_of(RAISED))
    assert told(shop, first) == told(shop, shop.revision(unit, image_of(HIGHER), parent=first)) == ""


def test_stock_logged_as_a_revision_is_told(shop: Shop, unit: ControlUnit) -> None:
    back = shop.revision(unit, image_of(), parent=shop.revision(unit, image_of(RAISED)))
    assert told(shop, back) == "This image is byte for byte that of stock: check that it is the file you meant."


def test_an_earlier_revision_is_named_and_the_earlier_one_stays_quiet(shop: Shop, unit: ControlUnit) -> None:
    first = shop.revision(unit, image_of(RAISED), title="Stage one")
    again = shop.revision(unit, image_of(RAISED), title="By another path")
    assert "byte for byte that of revision 1 “Stage one”: check" in told(shop, again)
    assert told(shop, first) == ""


def test_many_are_counted(shop: Shop, unit: ControlUnit) -> None:
    first = shop.revision(unit, image_of(RAISED))
    for _ in range(4):
        last = shop.revision(unit, image_of(), parent=first)
    assert "that of stock, revision 2 “Stage one” and 2 more: check" in told(shop, last)


def test_another_unit_with_the_same_image_is_no_news(shop: Shop, unit: ControlUnit) -> None:
    shop.revision(unit, image_of(RAISED))
    other = shop.unit()
    shop.stock(other, image_of())
    assert told(shop, shop.revision(other, image_of(RAISED))) == ""


def test_stock_that_came_later_is_no_news_for_what_was_logged_before(shop: Shop, unit: ControlUnit) -> None:
    first = shop.revision(unit, image_of(RAISED))
    shop.stock(unit, image_of(RAISED), new_generation=True)
    assert told(shop, first) == ""
    again = shop.revision(unit, image_of(BOOST))
    assert "that of stock: check" in told(shop, again)
    assert "stock, generation 2 and" not in told(shop, again)
