"""Compare the numbers a scan reports with the record."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.vehicle.identity import Identity
from app.record import identities, journal, vehicles
from app.record.tables import IdentityCheck, Person


def check_identity(
    session: Session, *, person: Person, at: dt.datetime, control_unit_id: int, scanned: Identity
) -> IdentityCheck:
    """Keep the scan with its field-by-field comparison; from a contradiction on, what is on the unit is unknown."""
    unit = vehicles.control_unit(session, control_unit_id)
    comparison = identities.compare(session, unit, scanned)
    check = identities.keep_check(session, person=person, at=at, unit=unit, scanned=scanned, comparison=comparison)
    journal.append(
        session,
        at=at,
        person=person,
        action="check identity",
        sentence=f"Identity of {unit.role} checked: {comparison.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("identity_check", check.id),
        facts={"matches": check.matches, "fields": check.fields},
    )
    return check
