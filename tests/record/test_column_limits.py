"""What does not fit is refused with a sentence, by both databases alike, before anything is written."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.errors import BadInput
from app.record.tables import JournalEntry, ShopSetting
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


TEXTS = st.text(st.sampled_from('ab\\u0°\0\ud83d🚗"'), max_size=6)


@given(st.dictionaries(TEXTS, st.lists(TEXTS | st.dictionaries(TEXTS, TEXTS, max_size=2), max_size=3), max_size=3))
@example({"written out": ["\\u0000"]})
@example({"key": [{"\0": ""}]})
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=200)
def test_a_text_anywhere_inside_a_value_is_refused_exactly_when_no_database_can_hold_it(
    session: Session, value: dict[str, list[object]]
) -> None:
    held = not any(c == "\0" or "\ud800" <= c <= "\udfff" for c in _all_texts(value))
    session.add(ShopSetting(key="any", value=value))
    try:
        with session.begin_nested():
            session.flush()
    except BadInput:
        assert not held
    else:
        assert held
    session.rollback()


def _all_texts(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, dict):
        return "".join(key + _all_texts(inner) for key, inner in value.items())
    assert isinstance(value, list)
    return "".join(map(_all_texts, value))
