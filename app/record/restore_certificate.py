"""The certificate of a restore from the record: as a draft at any time, and as it is issued."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.calc.restore.certificate import (
    Certificate,
    CertificateVehicle,
    DigestLine,
    Signature,
    build_certificate,
)
from app.record import flashes, journal, people, stocks, vehicles
from app.record.car_state import on_units, pending_of
from app.record.restores import Case
from app.record.tables import ControlUnit, Restore, Vehicle

_ROLES = {"tuner": "Tuner", "front_desk": "Front desk", "manager": "Manager"}


def number_of(restore: Restore) -> str:
    """How a certificate is called: vehicle and case."""
    return f"{restore.vehicle_id}-{restore.number}"


def draft(session: Session, case: Case, *, at: dt.datetime, zone: ZoneInfo) -> Certificate:
    """What the certificate would say now."""
    vehicle = vehicles.vehicle(session, case.restore.vehicle_id)
    units = [vehicles.control_unit(session, unit_id) for unit_id in case.unit_ids]
    head = journal.head(session)
    return build_certificate(
        case.progress,
        number=number_of(case.restore),
        issued_at=in_words(at, zone),
        vehicle=_vehicle(session, vehicle, units),
        digests=_digests(session, case, units),
        signatures=_signatures(session, case, zone),
        journal_head=(head.seq, head.hash),
    )


def body(session: Session, case: Case, *, at: dt.datetime, zone: ZoneInfo) -> dict[str, Any]:
    """The issued certificate as it was stored; before that, what it would say now."""
    if case.certificate is not None:
        return case.certificate.body
    return draft(session, case, at=at, zone=zone).to_json()


def address(base_url: str, restore_id: int) -> str | None:
    """Where the certificate stands on this server; None when no public address is set."""
    return f"{base_url}/restores/{restore_id}/certificate" if base_url else None


def in_words(at: dt.datetime, zone: ZoneInfo) -> str:
    """A moment as it is printed: "25 Nov 2026, 14:03 WET"."""
    local = at.astimezone(zone)
    return f"{local.day} {local:%b %Y, %H:%M %Z}"


def against_the_record(session: Session, case: Case) -> tuple[str, ...]:
    """What the rest of the record says against this case now, one sentence each; overridden steps do not count."""
    overridden = {s.step.key for s in case.progress.states if s.override is not None}
    states = on_units(session, case.unit_ids)
    found = []
    for unit_id in case.unit_ids:
        now = states[unit_id]
        decided = f"flash.{unit_id}" in overridden or (
            f"read_back.{unit_id}" in overridden and now.flash_id == case.kept(f"flash.{unit_id}", "flash_id")
        )
        if now.kind != "stock" and not decided:
            unit = vehicles.control_unit(session, unit_id)
            found.append(f"{unit.role.capitalize()} control unit: {now.sentence}")
    vehicle = vehicles.vehicle(session, case.restore.vehicle_id)
    if "compare_coding" not in overridden and pending_of(session, [vehicle]):
        found.append("Coding is pending: write it back and verify it before the engine is first started.")
    return tuple(found)


def _vehicle(session: Session, vehicle: Vehicle, units: list[ControlUnit]) -> CertificateVehicle:
    odometer = vehicles.odometer_km(session, vehicle.id)
    year = "" if vehicle.year is None else f", {vehicle.year}"
    return CertificateVehicle(
        vin=vehicle.vin,
        plate=vehicle.plate,
        description=f"{vehicle.make} {vehicle.model}{year}",
        odometer_km=None if odometer is None else odometer[0],
        control_units=tuple(_unit_words(unit) for unit in units),
    )


def _unit_words(unit: ControlUnit) -> str:
    parts = [f"{unit.role.capitalize()}: hardware {unit.hardware_number}"]
    if unit.software_number:
        parts.append(f"software {unit.software_number}")
    if unit.calibration_ids:
        parts.append(f"calibration {', '.join(str(one) for one in unit.calibration_ids)}")
    return ", ".join(parts)


def _digests(session: Session, case: Case, units: list[ControlUnit]) -> tuple[DigestLine, ...]:
    lines = []
    for unit in units:
        stock = stocks.current(session, unit.id)
        secured = case.kept(f"secure_stock.{unit.id}", "sha256") or (None if stock is None else stock.sha256)
        if secured:
            lines.append(DigestLine(f"Stock image, {unit.role}", secured))
        read = case.kept(f"read_back.{unit.id}", "sha256")
        if read:
            lines.append(DigestLine(f"Read-back, {unit.role}", read))
    for step in case.plan.steps:
        lines += [DigestLine(f"Photo, {step.title}: {one['name']}", one["sha256"]) for one in case.photos(step.key)]
    if case.restore.coding_snapshot_id is not None:
        snapshot = flashes.coding_snapshot(session, case.restore.coding_snapshot_id)
        lines.append(DigestLine(f"Option coding to restore ({snapshot.occasion})", snapshot.digest))
    coding = case.kept("compare_coding", "digest")
    if coding:
        lines.append(DigestLine("Option coding as read after the write-back", coding))
    return tuple(lines)


def _signatures(session: Session, case: Case, zone: ZoneInfo) -> tuple[Signature, ...]:
    found = []
    for row in case.sign_offs:
        person = people.by_id(session, row.by_id or 0)
        found.append(Signature(person.name, _ROLES[person.role], in_words(row.at, zone)))
    return tuple(found)
