"""Which numbers a scan of a control unit is compared with, and the scans on record."""

import datetime as dt
from dataclasses import asdict, replace

from sqlalchemy import Select, desc, select
from sqlalchemy.orm import Session

from app.calc.vehicle import identity
from app.calc.vehicle.identity import FieldComparison, Identity, IdentityComparison
from app.errors import BadInput, NotFound
from app.record.tables import ControlUnit, Flash, IdentityCheck, IdentityUpdate, Person


def expected(session: Session, unit: ControlUnit) -> Identity:
    """What the unit should report today.

    The numbers on its record, and where that has none, those of matching scans since the last write and the last
    accepted update. After a write of our own the calibration verification number is unknown until the first scan,
    because the control unit computes it anew.
    """
    flashed = _newest(session, select(Flash.entry_seq).where(Flash.control_unit_id == unit.id, _COMPLETED))
    updated = _newest(session, select(IdentityUpdate.entry_seq).where(IdentityUpdate.control_unit_id == unit.id))
    own = recorded(unit)
    if flashed > updated:
        own = replace(own, cvns=())
    checks = session.scalars(
        select(IdentityCheck)
        .where(
            IdentityCheck.control_unit_id == unit.id,
            IdentityCheck.matches,
            IdentityCheck.entry_seq > max(flashed, updated),
        )
        .order_by(IdentityCheck.id.desc())
    )
    for scan in (from_scan(one.scanned) for one in checks):
        own = Identity(
            own.hardware_number or scan.hardware_number,
            own.software_number or scan.software_number,
            own.calibration_ids or scan.calibration_ids,
            own.cvns or scan.cvns,
        )
    return own


_COMPLETED = Flash.outcome == "completed"


def _newest(session: Session, numbers: Select[int]) -> int:
    """The largest of the entry numbers; 0 when there is none."""
    return session.scalar(numbers.order_by(desc("entry_seq")).limit(1)) or 0


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


def accepted_since(session: Session, scan: IdentityCheck) -> bool:
    """Whether numbers were accepted for the unit after this scan."""
    query = select(IdentityUpdate.id).where(
        IdentityUpdate.control_unit_id == scan.control_unit_id, IdentityUpdate.entry_seq > scan.entry_seq
    )
    return session.scalar(query.limit(1)) is not None


def compare(session: Session, unit: ControlUnit, scanned: Identity) -> IdentityComparison:
    """A scan against what the unit should report; BadInput when nothing was scanned, or what can be no CVN."""
    if scanned == Identity():
        raise BadInput(
            "Nothing was scanned: type at least the hardware number as the scan tool shows it.",
            field="hardware_number",
        )
    identity.require_cvns(scanned.cvns)
    return identity.compare(expected(session, unit), scanned)


def keep_check(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    unit: ControlUnit,
    scanned: Identity,
    comparison: IdentityComparison,
) -> IdentityCheck:
    """The row of a scan that `compare` has judged."""
    row = IdentityCheck(
        control_unit_id=unit.id,
        scanned={
            "hardware_number": scanned.hardware_number,
            "software_number": scanned.software_number,
            "calibration_ids": list(scanned.calibration_ids),
            "cvns": list(scanned.cvns),
        },
        fields=[asdict(field) for field in comparison.fields],
        matches=comparison.outcome != "differs",
        sentence=comparison.sentence,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def check(session: Session, check_id: int) -> IdentityCheck:
    found = session.get(IdentityCheck, check_id)
    if found is None:
        raise NotFound(f"There is no identity check {check_id}.")
    return found


def comparison_of(row: IdentityCheck) -> IdentityComparison:
    """How a scan on record compared when it was taken."""
    fields = tuple(FieldComparison(**field) for field in row.fields)
    outcome = identity.outcome_of(fields)
    return IdentityComparison(outcome == "match", outcome, fields, row.sentence)
