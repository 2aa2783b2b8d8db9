"""Which numbers a scan of a control unit is compared with."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.vehicle.identity import Identity
from app.record.tables import ControlUnit, Flash, IdentityCheck, IdentityUpdate


def expected(session: Session, unit: ControlUnit) -> Identity:
    """What the unit should report today.

    The numbers of the last matching scan or accepted update since the last write; after a write of our own the
    calibration verification number is unknown until the first scan, because the control unit computes it anew.
    """
    flash = session.scalar(
        select(Flash)
        .where(Flash.control_unit_id == unit.id, Flash.outcome == "completed")
        .order_by(Flash.id.desc())
        .limit(1)
    )
    check = session.scalar(
        select(IdentityCheck)
        .where(IdentityCheck.control_unit_id == unit.id, IdentityCheck.matches)
        .order_by(IdentityCheck.id.desc())
        .limit(1)
    )
    update = session.scalar(
        select(IdentityUpdate)
        .where(IdentityUpdate.control_unit_id == unit.id)
        .order_by(IdentityUpdate.id.desc())
        .limit(1)
    )
    if flash is None or (update is not None and update.at >= flash.at):
        return recorded(unit)
    if check is not None and check.at >= flash.at:
        return from_scan(check.scanned)
    return Identity(unit.hardware_number, unit.software_number or None, tuple(unit.calibration_ids), ())


def recorded(unit: ControlUnit) -> Identity:
    """The numbers on the unit's own record."""
    return Identity(unit.hardware_number, unit.software_number or None, tuple(unit.calibration_ids), tuple(unit.cvns))


def from_scan(scanned: dict[str, object]) -> Identity:
    """A stored scan as numbers."""

    def many(key: str) -> tuple[str, ...]:
        values = scanned.get(key) or []
        return tuple(str(value) for value in values) if isinstance(values, list) else ()

    def one(key: str) -> str | None:
        return str(scanned[key]) if scanned.get(key) else None

    return Identity(one("hardware_number"), one("software_number"), many("calibration_ids"), many("cvns"))


def accepted_since(session: Session, unit_id: int, moment: dt.datetime) -> bool:
    """Whether numbers were accepted for the unit at or after `moment`."""
    query = select(IdentityUpdate.id).where(IdentityUpdate.control_unit_id == unit_id, IdentityUpdate.at >= moment)
    return session.scalar(query.limit(1)) is not None
