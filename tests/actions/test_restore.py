"""The shop can rely on it that a car goes back to stock in order, by evidence, and that the record follows.

What a restore must show, and in which order, is common practice, no source. SHA-256 values are computed with the
standard library beside the program. The rule that coding precedes the engine's first start is the trade's.
"""

import datetime as dt
import hashlib

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.orm import Session

from app.actions.add_read_back import add_read_back
from app.actions.check_identity import check_identity
from app.actions.close_restore_step import close_restore_step
from app.actions.log_flash import NewFlash, log_flash
from app.actions.open_restore import NewRestore, open_restore
from app.actions.override_restore_step import override_restore_step
from app.calc.restore.verdicts import Part
from app.calc.vehicle.identity import Identity
from app.errors import AppError, BadInput, Conflict, NotFound
from app.readers.image import read_image
from app.record import attention, car_state, people, restores, vehicles
from app.record.restore_defaults import parts_to_look_at, proposed
from app.record.restore_evidence import (
    CodingStated,
    CodingWriteOnRecord,
    FlashDone,
    FlashOnRecord,
    IdentityOnRecord,
    IdentityScanned,
    PartsSeen,
    ReadBackOnRecord,
    ReadinessRead,
    StockHashed,
    SupplyMeasured,
)
from app.record.tables import CodingSnapshot, CodingWriteBack, FaultScan, Flash, Person, ReadBack
from app.record.verify import verify
from tests.restore_car import (
    CODING,
    FOUND,
    IDENTITY,
    OPENED,
    OTHER_CODING,
    STOCK,
    TUNED,
    Car,
    Work,
    actions_of,
    coding_of,
    faults_of,
    good_evidence,
    opened,
    overridden,
    read_back_of,
    state_of,
    tuned_car,
)


def test_a_car_that_is_tuned_is_proposed_with_its_coding_as_found_and_its_baseline(session: Session, car: Car) -> None:
    found = proposed(session, car.vehicle_id)
    assert found.unit_ids == (car.unit_id,)
    assert (found.coding_snapshot_id, found.baseline_session_id) == (car.coding_id, car.baseline_id)
    assert found.margin_percent == 3.0
    assert parts_to_look_at(session, [car.unit_id]) == ("Air filter, panel type", "exhaust")


def test_every_step_is_closed_by_its_evidence_in_order(work: Work) -> None:
    work.through("readiness")
    case = restores.case(work.session, work.restore_id)
    assert case.progress.sentence == "10 of 11 steps done. Next: Verify on the dyno."
    assert actions_of(work.session)[-11:] == ["open restore", *["close step"] * 10]


def test_each_piece_of_evidence_makes_one_entry_and_the_whole_record_verifies(
    engine: Engine, session: Session, work: Work
) -> None:
    before = len(actions_of(session))
    work.through("readiness")
    assert len(actions_of(session)) == before + 10
    assert verify(session).findings == ()


def test_what_is_on_the_car_follows_from_the_evidence(session: Session, work: Work) -> None:
    unit = work.car.unit_id
    work.through("flash")
    assert car_state.on_units(session, [unit])[unit].certainty == "from the flash log"
    work.close(f"read_back.{unit}", read_back_of(STOCK))
    now = car_state.on_units(session, [unit])[unit]
    assert (now.kind, now.certainty) == ("stock", "verified by read-back")
    row = session.scalars(select(ReadBack).order_by(ReadBack.id.desc())).first()
    assert row is not None
    assert row.sha256 == hashlib.sha256(STOCK).hexdigest()


def test_the_coding_interlock_lifts_when_the_comparison_holds_and_not_before(session: Session, work: Work) -> None:
    vehicle = vehicles.vehicle(session, work.car.vehicle_id)
    work.through("write_coding")
    assert car_state.pending_of(session, [vehicle])
    assert work.close("compare_coding", coding_of(OTHER_CODING)).outcome == "failed"
    assert car_state.pending_of(session, [vehicle])
    assert work.close("compare_coding", coding_of(CODING)).outcome == "verified"
    assert not car_state.pending_of(session, [vehicle])


@pytest.mark.parametrize(
    ("key", "waits"),
    [
        ("supply", "Identify"),
        ("flash.{unit}", "Secure the stock image"),
        ("read_back.{unit}", "Write the stock image"),
        ("compare_coding", "Write the option coding back"),
        ("parts", "Identify"),
        ("faults", "Go through the physical parts"),
        ("readiness", "Clear and re-scan faults"),
    ],
)
def test_a_step_is_refused_while_it_waits_and_says_for_what(
    session: Session, work: Work, manager: Person, key: str, waits: str
) -> None:
    key = key.format(unit=work.car.unit_id)
    with pytest.raises(Conflict, match=waits) as caught:
        work.close(key, good_evidence(work.car)[key])
    assert any(waits in title for title in caught.value.details)
    with pytest.raises(Conflict, match="waits for"):
        override_restore_step(
            session,
            person=manager,
            at=work.later(),
            restore_id=work.restore_id,
            key=key,
            reason="There is no time for it today.",
            password_fits=True,
        )


def test_a_read_back_that_differs_keeps_the_step_open_and_names_the_bytes(session: Session, work: Work) -> None:
    work.through("flash")
    key = f"read_back.{work.car.unit_id}"
    row = work.close(key, read_back_of(TUNED))
    assert (row.outcome, row.details) == ("failed", ["0x8400 to 0x843F: 64 bytes not as in stock"])
    assert state_of(work, key) == "open"
    assert car_state.on_units(session, [work.car.unit_id])[work.car.unit_id].kind == "unknown"


def test_evidence_renewed_makes_what_rests_on_it_stale(work: Work) -> None:
    unit = work.car.unit_id
    work.through("readiness")
    work.close(f"flash.{unit}", FlashDone(NewFlash(None, "completed", 13.5, 13.3)))
    case = restores.case(work.session, work.restore_id)
    assert case.state(f"flash.{unit}").state == "done"
    assert case.state(f"read_back.{unit}").stale
    assert case.state("compare_coding").state == "blocked"
    assert work.close(f"read_back.{unit}", read_back_of(STOCK)).outcome == "verified"
    assert state_of(work, f"read_back.{unit}") == "done"
    assert state_of(work, "write_coding") == "open"


def test_the_same_evidence_twice_is_kept_once(session: Session, work: Work) -> None:
    work.through("readiness")
    before = (len(actions_of(session)), len(session.scalars(select(ReadBack)).all()))
    unchanged = {k: e for k, e in good_evidence(work.car).items() if not isinstance(e, FlashDone)}
    ids = {key: work.close(key, evidence).id for key, evidence in unchanged.items()}
    case = restores.case(session, work.restore_id)
    assert {key: case.entries[key][-1].id for key in ids} == ids
    assert (len(actions_of(session)), len(session.scalars(select(ReadBack)).all())) == before
    assert case.progress.sentence == "10 of 11 steps done. Next: Verify on the dyno."


def test_the_rows_of_the_evidence_are_those_that_the_other_pages_show(session: Session, work: Work) -> None:
    work.through("readiness")
    coding = session.scalars(select(CodingSnapshot).order_by(CodingSnapshot.id.desc())).first()
    proof = session.scalars(select(CodingWriteBack).order_by(CodingWriteBack.id.desc())).first()
    scan = session.scalars(select(FaultScan).order_by(FaultScan.id.desc())).first()
    flash = session.scalars(select(Flash).order_by(Flash.id.desc())).first()
    assert coding is not None
    assert proof is not None
    assert scan is not None
    assert flash is not None
    assert coding.occasion == "after the write-back, restore 1"
    assert (proof.flash_id, proof.wanted_snapshot_id, proof.read_snapshot_id) == (
        flash.id,
        work.car.coding_id,
        coding.id,
    )
    assert (scan.occasion, scan.faults) == ("after clearing, restore 1", [])
    assert (flash.stock_id, flash.revision_id) == (work.car.stock_id, None)


def test_evidence_on_record_serves_when_it_is_of_this_case(session: Session, tuner: Person, work: Work) -> None:
    unit = work.car.unit_id
    check = check_identity(session, person=tuner, at=work.later(), control_unit_id=unit, scanned=IDENTITY)
    assert work.close(f"identify.{unit}", IdentityOnRecord(check.id)).outcome == "verified"
    work.close(f"secure_stock.{unit}", StockHashed())
    work.close("supply", SupplyMeasured(13.2, 13.8))
    flash = log_flash(
        session,
        person=tuner,
        at=work.later(),
        control_unit_id=unit,
        flash=NewFlash(None, "completed", 13.6, 13.4),
    )
    assert work.close(f"flash.{unit}", FlashOnRecord(flash.id)).outcome == "verified"
    with pytest.raises(Conflict, match="No read-back"):
        work.close(f"read_back.{unit}", ReadBackOnRecord())
    add_read_back(
        session,
        person=tuner,
        at=work.later(),
        flash_id=flash.id,
        uploaded=STOCK,
        file_name="back.bin",
        read=read_image(STOCK, base_address=0x8000),
    )
    assert work.close(f"read_back.{unit}", ReadBackOnRecord()).outcome == "verified"
    with pytest.raises(Conflict, match="No write-back"):
        work.close("write_coding", CodingWriteOnRecord(flash.id))


def test_a_write_from_before_the_case_or_of_a_revision_proves_nothing(session: Session, work: Work) -> None:
    work.through("supply")
    key = f"flash.{work.car.unit_id}"
    tuned = session.scalars(select(Flash)).one()
    with pytest.raises(Conflict, match="not of this unit's stock"):
        work.close(key, FlashOnRecord(tuned.id))
    with pytest.raises(Conflict, match="takes a write of stock"):
        work.close(key, FlashDone(NewFlash(work.car.revision_id, "completed", None, None)))
    old = NewFlash(None, "completed", None, None, flashed_at=OPENED - dt.timedelta(days=1))
    with pytest.raises(Conflict, match="older than this restore"):
        work.close(key, FlashDone(old))


def test_a_later_write_of_something_else_reopens_the_case(session: Session, tuner: Person, work: Work) -> None:
    work.through("readiness")
    log_flash(
        session,
        person=tuner,
        at=work.later(),
        control_unit_id=work.car.unit_id,
        flash=NewFlash(work.car.revision_id, "completed", 13.5, 13.4),
    )
    state = restores.case(session, work.restore_id).state(f"flash.{work.car.unit_id}")
    assert state.state == "open"
    assert state.verdict is not None
    assert "Another write" in state.verdict.sentence


def test_a_wrong_unit_stops_the_work(work: Work) -> None:
    row = work.close(f"identify.{work.car.unit_id}", IdentityScanned(Identity("HW-2204", "SW-99Z", (), ())))
    assert row.outcome == "failed"
    assert state_of(work, "supply") == "blocked"


def test_a_stock_image_that_is_damaged_in_the_store_is_not_verified(sqlite_engine: Engine) -> None:
    with Session(sqlite_engine, expire_on_commit=False) as session:
        person = people.add(session, name="Ana Reis", role="tuner", password_hash=None, at=OPENED)
        car = tuned_car(session, person)
        work = Work(session, person, car, opened(session, person, car))
        work.through("identify")
        session.execute(text("drop trigger if exists content_no_update"))
        for (name,) in session.execute(
            text("select name from sqlite_schema where type = 'trigger' and tbl_name = 'content'")
        ).all():
            session.execute(text(f'drop trigger "{name}"'))
        digest = hashlib.sha256(STOCK).hexdigest()
        session.execute(
            text("update content set data = zeroblob(length(data)) where sha256 = :digest"), {"digest": digest}
        )
        session.expire_all()
        row = work.close(f"secure_stock.{car.unit_id}", StockHashed())
        assert row.outcome == "not verified"
        assert "backup" in row.sentence
        session.rollback()


@pytest.mark.parametrize(
    ("lowest", "highest", "outcome"),
    [(12.5, 15.0, "verified"), (12.4, 13.8, "failed"), (13.0, 15.1, "failed")],
)
def test_the_supply_is_held_against_the_shops_bounds(work: Work, lowest: float, highest: float, outcome: str) -> None:
    work.through("identify")
    assert work.close("supply", SupplyMeasured(lowest, highest)).outcome == outcome


@pytest.mark.parametrize(("lowest", "highest"), [(14.0, 13.0), (0.0, 13.0), (13.0, 600.0)])
def test_a_supply_that_cannot_be_is_refused(work: Work, lowest: float, highest: float) -> None:
    work.through("identify")
    with pytest.raises(BadInput):
        work.close("supply", SupplyMeasured(lowest, highest))


def test_faults_parts_and_readiness_keep_the_step_open_until_they_are_good(work: Work) -> None:
    work.through("compare_coding")
    assert work.close("parts", PartsSeen(())).outcome == "not verified"
    assert work.close("parts", PartsSeen((Part("Air filter", False),))).outcome == "failed"
    assert work.close("parts", PartsSeen((Part("Air filter", True),))).outcome == "verified"
    row = work.close("faults", faults_of(FOUND))
    assert row.outcome == "failed"
    assert "was there at intake" in row.details[0]
    assert work.close("faults", faults_of("No faults stored.")).outcome == "verified"
    assert work.close("readiness", ReadinessRead((("engine", "0007E504"),))).outcome == "not verified"
    with pytest.raises(BadInput):
        work.close("readiness", ReadinessRead(()))
    with pytest.raises(BadInput):
        work.close("readiness", ReadinessRead((("engine", "rubbish"),)))


def test_evidence_of_another_kind_is_refused(work: Work) -> None:
    with pytest.raises(BadInput, match=r"closed by: identity scan\. This is: stock image"):
        work.close(f"identify.{work.car.unit_id}", StockHashed())
    with pytest.raises(BadInput):
        work.close("sign_off", StockHashed())
    with pytest.raises(NotFound):
        work.close("nothing", StockHashed())


def test_a_later_case_takes_the_place_of_an_open_one(session: Session, tuner: Person, work: Work) -> None:
    second = opened(session, tuner, work.car, reason="Warranty visit")
    with pytest.raises(Conflict, match="Restore 2 took the place"):
        work.close(f"identify.{work.car.unit_id}", IdentityScanned(IDENTITY))
    assert [c.restore.number for c in restores.of_vehicle(session, work.car.vehicle_id)] == [2, 1]
    assert restores.case(session, second).replaced_by is None
    vehicle = vehicles.vehicle(session, work.car.vehicle_id)
    waiting = [item.target for item in attention.of_vehicles(session, [vehicle]) if item.target[0] == "restore"]
    assert waiting == [("restore", second)]


@pytest.mark.parametrize(
    ("changed", "error", "field"),
    [
        ({"reason": "  "}, BadInput, "reason"),
        ({"unit_ids": ()}, BadInput, "units"),
        ({"margin_percent": 0.0}, BadInput, "margin_percent"),
        ({"margin_percent": float("nan")}, BadInput, "margin_percent"),
        ({"unit_ids": (999,)}, Conflict, "unit_ids"),
        ({"coding_snapshot_id": 999}, NotFound, None),
        ({"baseline_session_id": 999}, Conflict, "baseline_session_id"),
    ],
)
def test_a_case_that_makes_no_sense_is_refused(
    session: Session, tuner: Person, car: Car, changed: dict[str, object], error: type[AppError], field: str | None
) -> None:
    with pytest.raises(error) as caught:
        opened(session, tuner, car, **changed)
    assert caught.value.field == field


def test_what_belongs_to_another_car_is_refused(session: Session, tuner: Person, car: Car) -> None:
    other = tuned_car(session, tuner, vin="30KLN3C62NB004535", stock=STOCK[::-1])
    for changed in (
        {"unit_ids": (other.unit_id,)},
        {"coding_snapshot_id": other.coding_id},
        {"baseline_session_id": other.baseline_id},
    ):
        with pytest.raises(Conflict):
            opened(session, tuner, car, **changed)


def test_without_snapshot_and_baseline_those_steps_can_only_be_overridden(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    bare = NewRestore("Sale", (car.unit_id,), None, None, 3.0)
    row = open_restore(session, person=tuner, at=OPENED, vehicle_id=car.vehicle_id, wanted=bare)
    work = Work(session, tuner, car, row.id)
    work.through("read_back")
    with pytest.raises(Conflict, match="no snapshot"):
        work.close("compare_coding", coding_of(CODING))
    overridden(work, manager, "compare_coding", "The coding was not kept at intake.")
    assert state_of(work, "compare_coding") == "done"


def test_a_case_that_does_not_exist_is_not_found(session: Session, tuner: Person) -> None:
    with pytest.raises(NotFound):
        close_restore_step(
            session, person=tuner, at=OPENED, restore_id=999_999_999, key="supply", evidence=SupplyMeasured(13.0, 13.5)
        )


def test_a_statement_that_the_coding_is_not_whole_keeps_the_step_open(work: Work) -> None:
    work.through("read_back")
    assert work.close("write_coding", CodingStated(False, "Gauges refused")).outcome == "failed"
    assert state_of(work, "compare_coding") == "blocked"
