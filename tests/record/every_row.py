"""A record with a row in every append-only table."""

from app.actions.accept_identity import accept_identity
from app.actions.attach_file import attach_file
from app.actions.decide_revision import decide_revision
from app.actions.decide_run import decide_run
from app.actions.issue_release_package import issue_release_package
from app.actions.log_flash import NewFlash
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_first_start import record_first_start
from app.actions.record_strip_run import record_strip_run
from app.actions.scan_faults import scan_faults
from app.actions.set_limit import NewLimit, set_limit
from app.actions.take_returned_files import Returned, take_returned_files
from app.actions.withdraw_attachment import withdraw_attachment
from app.calc.vehicle.dtc import Dtc, Fault
from app.record import content, journal, packages
from app.record.tables import (
    Base,
    Certificate,
    ControlUnit,
    InboxItem,
    Restore,
    RestoreAbandonment,
    RestoreSignOff,
    RestoreStep,
    Vehicle,
)
from tests.shop import STOCK, Shop, changed, with_sum

EVIDENCE = sorted(
    (m.class_ for m in Base.registry.mappers if getattr(m.class_, "append_only", False)),
    key=lambda c: str(c.__tablename__),
)


def fill(shop: Shop) -> Vehicle:
    """One car's whole story, from intake to a certificate."""
    stock = with_sum(STOCK)
    tuned = with_sum(changed(stock, 0x101, 0x103, 0x700))
    vehicle = shop.car(customer_name="R. Halle", customer_contact="r.halle@example", odometer_km=81_250.0)
    shop.layout()
    unit = shop.unit(vehicle, calibration_ids=("CAL-1",), cvns=("0000BEEF",))
    shop.stock(unit, stock)
    wanted = shop.coding(vehicle)
    revision = shop.revision(unit, tuned)
    flash = shop.flash(unit, revision)
    shop.read_back(flash, tuned)
    shop.write_back(flash, wanted, shop.coding(vehicle))
    _acts(shop, vehicle, unit_id=unit.id, revision_id=revision.id, flash_id=flash.id)
    _restore(shop, vehicle)
    return vehicle


def _acts(shop: Shop, vehicle: Vehicle, *, unit_id: int, revision_id: int, flash_id: int) -> None:
    session, person = shop.session, shop.person
    record_first_start(session, person=person, at=shop.now(), flash_id=flash_id)
    run = shop.pull(shop.dyno_session(vehicle, shop.dyno(), "baseline"))
    decide_run(session, person=person, at=shop.now(), run_id=run.id, included=False, reason="Wheel spin at 3,100.")
    decide_revision(session, person=person, at=shop.now(), revision_id=revision_id, decision="kept")
    trial = {"distance_km": 100.0, "fuel_l": 7.2}
    record_economy_trial(session, person=person, at=shop.now(), vehicle_id=vehicle.id, **trial)
    slip = {"et_60ft_s": 2.1, "et_1320ft_s": 13.4, "trap_1320ft_kmh": 168.2}
    record_strip_run(
        session, person=person, at=shop.now(), vehicle_id=vehicle.id, results=slip, place="Airfield", how="slip"
    )
    limit = NewLimit(channel="lambda_", bound="max", value=0.92, speed_lo_rpm=3000.0, note="Full load.")
    set_limit(session, person=person, at=shop.now(), vehicle_id=vehicle.id, limit=limit)
    fault = Fault(Dtc("P0301", None), ("confirmed_dtc",), "Cylinder 1 misfire", "Engine")
    scan_faults(
        session,
        person=person,
        at=shop.now(),
        vehicle_id=vehicle.id,
        faults=[fault],
        text="P0301",
        occasion="as found",
    )
    attached, _ = attach_file(
        session,
        person=person,
        at=shop.now(),
        vehicle_id=vehicle.id,
        uploaded=b"%PDF signed",
        file_name="authorisation.pdf",
        kind="authorisation",
    )
    withdraw_attachment(session, person=person, at=shop.now(), attachment_id=attached.id, reason="Of another car.")
    check = shop.scan(session.get_one(ControlUnit, unit_id), software_number="SW-dealer")
    accept_identity(session, person=person, at=shop.now(), identity_check_id=check.id, reason="Dealer update seen.")
    _package(shop, vehicle, revision_id)


def _package(shop: Shop, vehicle: Vehicle, revision_id: int) -> None:
    session, person = shop.session, shop.person
    release = {"decision": "released", "legal_basis": "Off-road use"}
    decide_revision(session, person=person, at=shop.now(), revision_id=revision_id, **release)
    coding = packages.suggested_coding(session, vehicle.id)
    package = issue_release_package(
        session,
        person=person,
        at=shop.now(),
        revision_id=revision_id,
        format="hex",
        coding_snapshot_id=None if coding is None else coding.id,
    )
    returned = Returned(flash=NewFlash(revision_id, "completed", 13.8, 13.3))
    take_returned_files(session, person=person, at=shop.now(), package_id=package.id, returned=returned)


def _restore(shop: Shop, vehicle: Vehicle) -> None:
    """Rows of a restore and an inbox file, written as their acts write them."""
    session, by = shop.session, {"at": shop.now(), "by_id": shop.person.id}
    digest = content.put(session, b"rpm;Nm\n", at=shop.at)
    session.add(InboxItem(sha256=digest, file_name="pull.csv", recorded_at=shop.at, summary={"pulls": 1}, **by))
    restore = Restore(
        vehicle_id=vehicle.id,
        number=1,
        reason="Warranty visit.",
        two_sign_offs=False,
        margin_percent=3.0,
        coding_snapshot_id=None,
        baseline_session_id=None,
        steps=[{"key": "identify"}],
        **by,
    )
    session.add(restore)
    session.flush()
    session.add(
        RestoreStep(
            restore_id=restore.id,
            key="identify",
            outcome="verified",
            sentence="It is the car.",
            details=[],
            reason="",
            evidence={"identity_check_id": 1},
            **by,
        )
    )
    session.add(RestoreSignOff(restore_id=restore.id, statement="Restored.", **by))
    session.add(RestoreAbandonment(restore_id=restore.id, reason="The owner drives on.", **by))
    head = journal.head(session)
    session.add(
        Certificate(restore_id=restore.id, body={"title": "x"}, journal_seq=head.seq, journal_hash=head.hash, **by)
    )
    journal.append(session, at=shop.at, person=shop.person, action="open restore", sentence="Restore 1 opened.")
