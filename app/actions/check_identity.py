"""Compare the numbers a scan reports with the record."""

import datetime as dt
from dataclasses import asdict

from sqlalchemy.orm import Session

from app.calc.vehicle.identity import Identity, compare
from app.errors import BadInput
from app.record import identities, journal, vehicles
from app.record.tables import IdentityCheck, Person


def check_identity(
    session: Session, *, person: Person, at: dt.datetime, control_unit_id: int, scanned: Identity
) -> IdentityCheck:
    """Keep the scan with its field-by-field comparison; from a contradiction on, what is on the unit is unknown."""
    unit = vehicles.control_unit(session, control_unit_id)
    if scanned == Identity():
        raise BadInput("Nothing was scanned: type at least the hardware number as the scan tool shows it.")
    comparison = compare(identities.expected(session, unit), scanned)
    check = IdentityCheck(
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
    session.add(check)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="check identity",
        sentence=f"Identity of {unit.role} checked: {comparison.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("identity_check", check.id),
        facts={"fields": check.fields},
    )
    return check
