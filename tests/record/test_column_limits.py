"""What does not fit is refused with a sentence, by both databases alike, before anything is written."""

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.errors import BadInput
from app.record.tables import JournalEntry
from tests.shop import Shop


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


REFUSED: list[tuple[Callable[[Shop], object], str, str]] = [
    (
        lambda shop: shop.unit(software_number="S" * 61),
        "software_number",
        "Software number has 61 characters, 60 fit; shorten it.",
    ),
    (
        lambda shop: shop.unit(software_number="S\0W"),
        "software_number",
        "Software number holds a character that is no text; type it again.",
    ),
    (
        lambda shop: shop.unit(software_number="SW \ud83d"),
        "software_number",
        "Software number holds a character that is no text; type it again.",
    ),
    (
        lambda shop: shop.unit(calibration_ids=["A\0B"]),
        "calibration_ids",
        "Calibration ids holds a character that is no text; type it again.",
    ),
    (lambda shop: shop.unit(base_address=1 << 63), "base_address", "Base address cannot be as large as 9.22e+18."),
]


@pytest.mark.parametrize(("act", "field", "sentence"), REFUSED)
def test_what_does_not_fit_is_refused_by_name(
    shop: Shop, act: Callable[[Shop], object], field: str, sentence: str
) -> None:
    before = shop.session.query(JournalEntry).count()
    with pytest.raises(BadInput) as refused, shop.session.begin_nested():
        act(shop)
    assert refused.value.field == field
    assert refused.value.sentence == sentence
    shop.car()
    # The unit's own act registers its car first; what that act wrote is undone with it.
    assert shop.session.query(JournalEntry).count() == before + 1


def test_what_just_fits_is_taken(shop: Shop) -> None:
    vehicle = shop.car(plate="X" * 24, legal_basis="y" * 200, model="Sirrus 🚗 ünï")
    unit = add_control_unit(
        shop.session,
        person=shop.person,
        at=shop.now(),
        vehicle_id=vehicle.id,
        role="engine",
        hardware_number="H" * 60,
        base_address=0xFFFF_FFFF,  # a 32-bit address space; a raw read of many units begins at 0x8000_0000
    )
    shop.session.expire_all()
    assert unit.base_address == 0xFFFF_FFFF
    assert vehicle.model == "Sirrus 🚗 ünï"
