"""A second read that differs from the first one is refused in a sentence that counts what differs."""

import pytest
from sqlalchemy.orm import Session

from app.errors import Conflict
from tests.shop import STOCK, Shop, changed


@pytest.mark.parametrize(("offsets", "counted"), [((0x700,), "1 byte"), ((0x700, 0x900), "2 bytes")])
def test_bytes_that_differ_are_counted_in_the_right_number(
    session: Session, offsets: tuple[int, ...], counted: str
) -> None:
    shop = Shop(session)
    unit = shop.unit(shop.car())
    shop.read(unit, STOCK)
    with pytest.raises(Conflict, match=rf"in {counted}, first at 0x"):
        shop.read(unit, changed(STOCK, *offsets))
