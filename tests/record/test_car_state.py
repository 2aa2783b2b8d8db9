"""What is on each control unit now, and whether coding is pending: derived from the log, whatever was recorded."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from app.actions.waive_coding import waive_coding
from app.errors import Conflict
from app.record import car_state
from app.record.tables import ControlUnit, Flash, Revision, Vehicle
from tests.shop import CODING, STOCK, Shop, changed

TUNED = changed(STOCK, 0x700)
OTHER_CODING = {"Body": {"long coding": "0A 1F 23"}, "Gateway": {"installed": "01 02"}}


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


def now_on(shop: Shop, unit: ControlUnit) -> car_state.OnUnit:
    return car_state.on_units(shop.session, [unit.id])[unit.id]


def test_before_stock_is_confirmed_nothing_is_known(shop: Shop) -> None:
    unit = shop.unit()
    assert now_on(shop, unit).kind == "unknown"
    shop.read(unit)
    assert now_on(shop, unit).kind == "unknown"
    shop.read(unit)
    state = now_on(shop, unit)
    assert (state.kind, state.certainty) == ("stock", "as read")


def test_the_last_completed_flash_is_on_the_car_and_a_read_back_makes_it_sure(shop: Shop) -> None:
    unit = shop.unit()
    shop.stock(unit)
    revision = shop.revision(unit, TUNED)
    flash = shop.flash(unit, revision)
    state = now_on(shop, unit)
    assert (state.kind, state.certainty, state.revision_id) == ("revision", "from the flash log", revision.id)
    assert state.sentence == "Revision 1 “Stage one”, from the flash log."
    shop.read_back(flash, TUNED)
    assert now_on(shop, unit).certainty == "verified by read-back"
    shop.flash(unit)
    state = now_on(shop, unit)
    assert (state.kind, state.revision_id) == ("stock", None)


def test_a_read_back_that_differs_leaves_the_car_unknown(shop: Shop) -> None:
    unit = shop.unit()
    shop.stock(unit)
    flash = shop.flash(unit, shop.revision(unit, TUNED))
    shop.read_back(flash, changed(TUNED, 5))
    state = now_on(shop, unit)
    assert state.kind == "unknown"
    assert "differs from what was written" in state.sentence


@pytest.mark.parametrize("outcome", ["failed", "aborted"])
def test_a_broken_write_leaves_the_car_unknown(shop: Shop, outcome: str) -> None:
    unit = shop.unit()
    shop.stock(unit)
    shop.flash(unit, shop.revision(unit, TUNED), outcome)
    assert now_on(shop, unit).kind == "unknown"


def test_a_contradicting_scan_makes_it_unknown_and_a_later_match_does_not_bring_it_back(shop: Shop) -> None:
    unit = shop.unit()
    shop.stock(unit)
    shop.flash(unit)
    shop.scan(unit, software_number="DEALER-9")
    assert now_on(shop, unit).kind == "unknown"
    shop.scan(unit)
    assert now_on(shop, unit).kind == "unknown"
    shop.flash(unit)
    assert now_on(shop, unit).kind == "stock"


def test_the_order_is_that_of_recording_even_when_the_clock_goes_back(shop: Shop) -> None:
    unit = shop.unit()
    shop.stock(unit)
    shop.flash(unit)
    shop.at -= timedelta(days=2)
    shop.scan(unit, software_number="DEALER-9")
    assert now_on(shop, unit).kind == "unknown"


def test_each_unit_has_its_own_state(shop: Shop) -> None:
    vehicle = shop.car()
    engine, gearbox = shop.unit(vehicle), shop.unit(vehicle, "transmission")
    shop.stock(engine)
    shop.stock(gearbox, changed(STOCK, 1))
    revision = shop.revision(engine, TUNED)
    shop.flash(engine, revision)
    states = car_state.on_units(shop.session, [engine.id, gearbox.id])
    assert (states[engine.id].revision_id, states[gearbox.id].kind) == (revision.id, "stock")


def pending(shop: Shop, vehicle: Vehicle) -> list[int]:
    return [one.flash_id for one in car_state.pending_of(shop.session, [vehicle]).get(vehicle.id, ())]


def flashed_car(shop: Shop, **known: object) -> tuple[Vehicle, ControlUnit, Flash]:
    vehicle = shop.car(**known)
    unit = shop.unit(vehicle)
    shop.stock(unit)
    shop.coding(vehicle)
    return vehicle, unit, shop.flash(unit)


def test_coding_is_pending_from_the_flash_until_the_write_back_is_verified(shop: Shop) -> None:
    vehicle, _, flash = flashed_car(shop)
    assert pending(shop, vehicle) == [flash.id]
    wanted = shop.coding(vehicle)
    with pytest.raises(Conflict, match="must be a new snapshot"):
        shop.write_back(flash, wanted, wanted)
    shop.write_back(flash, wanted, shop.coding(vehicle, OTHER_CODING))
    assert pending(shop, vehicle) == [flash.id]
    shop.write_back(flash, wanted, shop.coding(vehicle))
    assert pending(shop, vehicle) == []
    (again,) = {shop.flash(shop.session.get_one(ControlUnit, flash.control_unit_id)).id}
    assert pending(shop, vehicle) == [again]


def test_a_car_that_keeps_its_coding_owes_nothing(shop: Shop) -> None:
    vehicle, _, _ = flashed_car(shop, loses_coding=False)
    assert pending(shop, vehicle) == []
    assert car_state.pending_everywhere(shop.session) == []


def test_a_reasoned_waiver_closes_its_flash_and_no_other(shop: Shop) -> None:
    vehicle, unit, first = flashed_car(shop)
    second = shop.flash(unit)
    waive_coding(
        shop.session, person=shop.person, at=shop.now(), flash_id=second.id, reason="Bench write, the car was off."
    )
    assert pending(shop, vehicle) == [first.id]


def test_an_aborted_write_may_have_erased_the_coding_too(shop: Shop) -> None:
    vehicle, unit, _ = flashed_car(shop)
    wanted = shop.coding(vehicle)
    aborted = shop.flash(unit, outcome="aborted")
    shop.write_back(aborted, wanted, shop.coding(vehicle))
    assert pending(shop, vehicle) == []
    assert pending(shop, vehicle) == []


def test_every_page_can_ask_which_cars_wait(shop: Shop) -> None:
    flashed_car(shop, plate="AB 1")
    vehicle, _, _ = flashed_car(shop, plate="", vin="U9ZSHP2A5K7654321")
    found = car_state.pending_everywhere(shop.session)
    assert [one.vehicle for one in found] == ["Velmora Sirrus · AB 1", "Velmora Sirrus · …654321"]
    assert found[1].vehicle_id == vehicle.id
    assert "before the engine is first started" in found[1].sentence
    assert "engine flashed" in found[1].sentence


@dataclass
class Told:
    """What the car carries, told in the plainest way: one value after each event, no lists to sort."""

    kind: str = "unknown"
    revision_id: int | None = None
    flash_id: int | None = None
    coding: dict[int, str] = field(default_factory=dict)

    @property
    def owed(self) -> list[int]:
        """Writes after the last verified write-back for which no waiver stands, in order."""
        found: list[int] = []
        for flash_id, word in self.coding.items():
            if word == "verified":
                found = []
            elif word == "owed":
                found.append(flash_id)
        return found


WRITES = ["flash revision", "flash stock", "abort", "read back", "read back other"]
OTHERS = ["match", "contradict", "write coding", "write other coding", "waive"]
STEPS = st.lists(st.sampled_from(WRITES + OTHERS), max_size=8)


@given(STEPS)
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None, max_examples=200
)
def test_invariants_4_and_5_hold_after_any_course_of_events(session: Session, steps: Sequence[str]) -> None:
    savepoint = session.begin_nested()
    shop = Shop(session)
    vehicle = shop.car()
    unit = shop.unit(vehicle)
    wanted = shop.coding(vehicle)
    shop.stock(unit)
    revision = shop.revision(unit, TUNED)
    told = Told(kind="stock")
    last: Flash | None = None
    for step in steps:
        last = act(shop, unit, revision, wanted, step, told, last)
        state = now_on(shop, unit)
        assert (state.kind, state.revision_id) == (told.kind, told.revision_id)
        assert pending(shop, vehicle) == told.owed
    savepoint.rollback()
    session.expunge_all()


def act(
    shop: Shop, unit: ControlUnit, revision: Revision, wanted: object, step: str, told: Told, last: Flash | None
) -> Flash | None:
    """Do the step and tell what it means: invariants 4 and 5 of the record."""
    vehicle = shop.session.get_one(Vehicle, unit.vehicle_id)
    match step:
        case "flash revision" | "flash stock" | "abort":
            chosen = None if step == "flash stock" else revision
            last = shop.flash(unit, chosen, "aborted" if step == "abort" else "completed")
            told.kind = {"flash revision": "revision", "flash stock": "stock", "abort": "unknown"}[step]
            told.revision_id = revision.id if step == "flash revision" else None
            told.flash_id = last.id
            told.coding[last.id] = "owed"
        case "match":
            shop.scan(unit)
        case "contradict":
            shop.scan(unit, software_number="DEALER-9")
            told.kind, told.revision_id, told.flash_id = "unknown", None, None
        case "read back" | "read back other" if last is not None and last.outcome == "completed":
            written = TUNED if last.revision_id is not None else STOCK
            shop.read_back(last, written if step == "read back" else changed(written, 9))
            if told.flash_id == last.id:
                # The newest read-back of a write counts.
                equal = step == "read back"
                told.kind = "unknown" if not equal else "stock" if last.revision_id is None else "revision"
                told.revision_id = last.revision_id if equal else None
        case "write coding" | "write other coding" if last is not None:
            read = shop.coding(vehicle, CODING if step == "write coding" else OTHER_CODING)
            shop.write_back(last, wanted, read)  # type: ignore[arg-type]  # a snapshot, made by the caller
            told.coding[last.id] = "verified" if step == "write coding" else "owed"
        case "waive" if last is not None:
            waive_coding(
                shop.session, person=shop.person, at=shop.now(), flash_id=last.id, reason="It was written on the bench."
            )
            told.coding[last.id] = "waived"
    return last
