"""What waits for a person: each cause, its sentence, and the order of danger."""

import pytest
from sqlalchemy.orm import Session

from app.actions.attribute import Result, attribute
from app.actions.decide_revision import decide_revision
from app.actions.log_flash import NewFlash, log_flash
from app.actions.waive_coding import waive_coding
from app.record import attention, journal
from app.record.attention import Attention
from app.record.tables import Certificate, ControlUnit, Restore, Vehicle
from tests.shop import STOCK, Shop, changed

TUNED = changed(STOCK, 0x700)


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


def waiting(shop: Shop, *cars: Vehicle) -> list[Attention]:
    return attention.of_vehicles(shop.session, cars)


def told(items: list[Attention]) -> list[tuple[str, str]]:
    return [(item.severity, item.sentence) for item in items]


def settled_car(shop: Shop, **known: object) -> tuple[Vehicle, ControlUnit]:
    """A car with stock on record and nothing open."""
    vehicle = shop.car(loses_coding=False, **known)
    unit = shop.unit(vehicle)
    shop.stock(unit)
    return vehicle, unit


def test_a_settled_car_waits_for_nothing(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    shop.read_back(shop.flash(unit), STOCK)
    assert waiting(shop, vehicle) == []
    assert attention.everywhere(shop.session) == []
    assert waiting(shop) == []


def test_coding_pending_is_the_first_danger_and_leads_to_its_flash(shop: Shop) -> None:
    vehicle = shop.car()
    unit = shop.unit(vehicle)
    shop.stock(unit)
    flash = shop.flash(unit)
    first, second = waiting(shop, vehicle)
    assert told([first]) == [
        ("danger", "Coding pending: write it back and verify it before the engine is first started.")
    ]
    assert (first.target, first.action) == (("flash", flash.id), "Write coding back")
    assert told([second]) == [("attention", "The last write to the engine control unit was not read back.")]
    waive_coding(shop.session, person=shop.person, at=shop.now(), flash_id=flash.id, reason="Written on the bench.")
    assert told(waiting(shop, vehicle)) == told([second])


def test_a_read_back_that_differs_is_a_danger(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    shop.read_back(shop.flash(unit), TUNED)
    assert told(waiting(shop, vehicle)) == [
        ("danger", "The read-back of the engine control unit differs from what was written.")
    ]


@pytest.mark.parametrize("outcome", ["failed", "aborted"])
def test_a_broken_write_is_a_danger_until_the_next_one(shop: Shop, outcome: str) -> None:
    vehicle, unit = settled_car(shop)
    shop.flash(unit, outcome=outcome)
    (one,) = waiting(shop, vehicle)
    assert one.severity == "danger"
    assert f"The last write to the engine control unit {outcome}" in one.sentence
    shop.read_back(shop.flash(unit), STOCK)
    assert waiting(shop, vehicle) == []


def test_a_withdrawn_revision_and_a_write_at_low_supply_wait_side_by_side(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    revision = shop.revision(unit, TUNED)
    flash = log_flash(
        shop.session,
        person=shop.person,
        at=shop.now(),
        control_unit_id=unit.id,
        flash=NewFlash(revision.id, "completed", 12.9, 10.9),
    )
    decide_revision(
        shop.session,
        person=shop.person,
        at=shop.now(),
        revision_id=revision.id,
        decision="withdrawn",
        reason="Knocks on warm days",
        legal_basis="",
    )
    withdrawn = ("attention", "On the car: the engine control unit carries a withdrawn revision.")
    low = (
        "attention",
        "The last write to the engine control unit ran at 10.9 V, below the shop's 12.5 V, and was not read back.",
    )
    found = waiting(shop, vehicle)
    assert told(found) == [withdrawn, low]
    assert {one.target for one in found} == {("flash", flash.id)}
    shop.read_back(flash, TUNED)
    assert told(waiting(shop, vehicle)) == [withdrawn]


def test_foreign_numbers_wait_until_the_unit_is_written_again(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    check = shop.scan(unit, software_number="DEALER-9")
    (one,) = waiting(shop, vehicle)
    assert (one.severity, one.target) == ("attention", ("identity_check", check.id))
    assert "somebody else has written it" in one.sentence
    shop.read_back(shop.flash(unit), STOCK)
    assert waiting(shop, vehicle) == []


def test_a_single_stock_read_waits_for_its_second(shop: Shop) -> None:
    vehicle = shop.car()
    unit = shop.unit(vehicle)
    assert waiting(shop, vehicle) == []
    shop.read(unit)
    (one,) = waiting(shop, vehicle)
    assert (one.severity, one.target) == ("info", ("control_unit", unit.id))
    shop.read(unit)
    assert waiting(shop, vehicle) == []
    shop.read(unit, TUNED, new_generation=True)
    assert [item.target for item in waiting(shop, vehicle)] == [("control_unit", unit.id)]


def test_a_measured_revision_waits_for_its_decision(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    revision = shop.revision(unit, TUNED)
    shop.read_back(shop.flash(unit, revision), TUNED)
    session_row = shop.dyno_session(vehicle, shop.dyno())
    assert waiting(shop, vehicle) == []  # nothing was measured yet
    shop.pull(session_row)
    (one,) = waiting(shop, vehicle)
    assert (one.severity, one.target) == ("info", ("revision", revision.id))
    assert one.sentence == "Revision 1 “Stage one” was measured, but nobody has decided on it."
    decide_revision(shop.session, person=shop.person, at=shop.now(), revision_id=revision.id, decision="kept")
    assert waiting(shop, vehicle) == []


def test_a_session_that_was_attributed_elsewhere_asks_for_no_decision(shop: Shop) -> None:
    vehicle, unit = settled_car(shop)
    shop.read_back(shop.flash(unit, shop.revision(unit, TUNED)), TUNED)
    session_row = shop.dyno_session(vehicle, shop.dyno())
    shop.pull(session_row)
    assert len(waiting(shop, vehicle)) == 1
    attribute(
        shop.session,
        person=shop.person,
        at=shop.now(),
        result=Result(dyno_session_id=session_row.id),
        control_unit_id=unit.id,
        revision_id=None,
        reason="Stock was still on it.",
    )
    assert waiting(shop, vehicle) == []


def test_an_open_restore_waits_until_its_certificate(shop: Shop) -> None:
    vehicle, _ = settled_car(shop)
    by = {"at": shop.now(), "by_id": shop.person.id}
    restore = Restore(
        vehicle_id=vehicle.id,
        number=1,
        reason="Warranty visit.",
        two_sign_offs=False,
        margin_percent=3.0,
        coding_snapshot_id=None,
        baseline_session_id=None,
        steps=[],
        **by,
    )
    shop.session.add(restore)
    shop.session.flush()
    (one,) = waiting(shop, vehicle)
    assert (one.severity, one.sentence) == ("attention", "Restore 1 is open: Warranty visit.")
    head = journal.head(shop.session)
    shop.session.add(Certificate(restore_id=restore.id, body={}, journal_seq=head.seq, journal_hash=head.hash, **by))
    shop.session.flush()
    assert waiting(shop, vehicle) == []


def test_the_most_dangerous_comes_first_whichever_car_it_is(shop: Shop) -> None:
    single = shop.car(plate="ONE")
    shop.read(shop.unit(single))
    foreign, foreign_unit = settled_car(shop, plate="TWO")
    shop.scan(foreign_unit, software_number="DEALER-9")
    coding = shop.car(plate="THREE")
    coding_unit = shop.unit(coding)
    shop.stock(coding_unit)
    shop.read_back(shop.flash(coding_unit), STOCK)
    items = attention.everywhere(shop.session)
    assert [(item.severity, item.vehicle.rsplit(" ", 1)[1]) for item in items] == [
        ("danger", "THREE"),
        ("attention", "TWO"),
        ("info", "ONE"),
    ]
    assert waiting(shop, single, foreign, coding) == items
    assert [item.vehicle_id for item in waiting(shop, foreign)] == [foreign.id]
