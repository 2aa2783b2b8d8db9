"""Release packages: what the record says about a released revision, what was handed out, what came back."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.release_package.manifest import CodingKept, PackageFacts
from app.errors import Conflict, NotFound
from app.record import flash_log, flashes, people, revisions, vehicles
from app.record.settings import shop
from app.record.tables import (
    CodingSnapshot,
    CodingWriteBack,
    ControlUnit,
    PackageReturn,
    ReleasePackage,
    Revision,
    RevisionDecision,
    Vehicle,
)


def package(session: Session, package_id: int) -> ReleasePackage:
    found = session.get(ReleasePackage, package_id)
    if found is None:
        raise NotFound(f"There is no release package {package_id}.")
    return found


def control_unit(session: Session, package_id: int) -> ControlUnit:
    """The control unit that a package is for."""
    row = revisions.revision(session, package(session, package_id).revision_id)
    return vehicles.control_unit(session, row.control_unit_id)


def of_revision(session: Session, revision_id: int) -> Sequence[ReleasePackage]:
    """Newest first."""
    return session.scalars(
        select(ReleasePackage).where(ReleasePackage.revision_id == revision_id).order_by(ReleasePackage.id.desc())
    ).all()


def returns(session: Session, package_id: int) -> Sequence[PackageReturn]:
    """What came back for a package, newest first."""
    return session.scalars(
        select(PackageReturn).where(PackageReturn.package_id == package_id).order_by(PackageReturn.id.desc())
    ).all()


def release_of(session: Session, row: Revision) -> RevisionDecision:
    """The release that applies; Conflict for a revision that is not released (any more), or that has no image."""
    if row.sha256 is None:
        raise Conflict(f"Revision {row.number} was entered by hand and has no image to hand out.")
    decision = revisions.decisions(session, [row.id]).get(row.id)
    if decision is None or decision.decision != "released":
        word = "not released" if decision is None else decision.decision
        raise Conflict(f"Revision {row.number} is {word}: release it before a package is handed out.")
    return decision


def suggested_coding(session: Session, vehicle_id: int) -> CodingSnapshot | None:
    """The newest snapshot that was read while no coding write-back was owed: what belongs on the car."""
    log = sorted(flashes.of_vehicle(session, vehicle_id), key=lambda one: one.flash.entry_seq)
    for row in flashes.coding_snapshots(session, vehicle_id):
        before = [one for one in log if one.flash.entry_seq <= row.entry_seq]
        if not before or _settled(before[-1].write_back, row):
            return row
    return None


def _settled(write_back: CodingWriteBack | None, row: CodingSnapshot) -> bool:
    """Whether the write before the snapshot had its coding written back, or waived, when the snapshot was read."""
    if write_back is None or not (write_back.equal or write_back.waiver_reason is not None):
        return False
    return write_back.entry_seq < row.entry_seq or write_back.read_snapshot_id == row.id


def coding_of(session: Session, vehicle: Vehicle, snapshot_id: int | None) -> CodingSnapshot | None:
    """The snapshot that goes with a package: the one that was chosen.

    Conflict when it belongs to another car, or when a car that loses its coding is to get none.
    """
    if snapshot_id is None:
        if vehicle.loses_coding:
            raise Conflict(
                "This car loses its option coding when flashed: keep the coding of every module first, so that it "
                "can be written back before the engine is first started.",
                field="coding_snapshot_id",
            )
        return None
    row = flashes.coding_snapshot(session, snapshot_id)
    if row.vehicle_id != vehicle.id:
        raise Conflict(
            "That coding snapshot belongs to another car; choose one of this car.", field="coding_snapshot_id"
        )
    return row


def facts(session: Session, row: Revision, release: RevisionDecision, coding: CodingSnapshot | None) -> PackageFacts:
    """Everything the package says; Conflict when a block checksum of the image does not hold."""
    unit = vehicles.control_unit(session, row.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    settings = shop(session)
    return PackageFacts(
        workshop=settings.name,
        vin=vehicle.vin,
        make=vehicle.make,
        model=vehicle.model,
        year=vehicle.year,
        hybrid=vehicle.hybrid,
        role=unit.role,
        hardware_number=unit.hardware_number,
        software_number=unit.software_number,
        calibration_ids=tuple(unit.calibration_ids),
        revision_number=row.number,
        title=row.title,
        purpose=row.purpose,
        released_by=people.names(session).get(release.by_id, "the program"),
        released_at=_moment(release.at),
        legal_basis=release.legal_basis,
        fuel_requirement=row.fuel_requirement,
        hardware_requirement=row.hardware_requirement,
        loses_coding=vehicle.loses_coding,
        coding=None if coding is None else _kept(coding),
        checksums=tuple(flash_log.held_checksums(session, row)),
        supply_minimum_v=settings.supply_minimum_v,
    )


def _kept(row: CodingSnapshot) -> CodingKept:
    return CodingKept(row.occasion, _moment(row.at), row.digest, row.modules, row.keys)


def _moment(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
