"""Accept the numbers that a scan reported as the unit's new ones, for example after a dealer update."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, NotFound
from app.record import journal, vehicles
from app.record.tables import IdentityCheck, IdentityUpdate, Person


def accept_identity(
    session: Session, *, person: Person, at: dt.datetime, identity_check_id: int, reason: str
) -> IdentityUpdate:
    """Take the scanned numbers over; the earlier ones stay in the history. What is on the unit stays unknown."""
    check = session.get(IdentityCheck, identity_check_id)
    if check is None:
        raise NotFound(f"There is no identity check {identity_check_id}.")
    if not reason.strip():
        raise BadInput("Write why the numbers changed, for example “dealer update, invoice seen”.", field="reason")
    unit = vehicles.control_unit(session, check.control_unit_id)
    before = {
        "hardware_number": unit.hardware_number,
        "software_number": unit.software_number,
        "calibration_ids": unit.calibration_ids,
        "cvns": unit.cvns,
    }
    after = {key: check.scanned.get(key) or value for key, value in before.items()}
    unit.hardware_number = str(after["hardware_number"])
    unit.software_number = str(after["software_number"])
    unit.calibration_ids = list(after["calibration_ids"])
    unit.cvns = list(after["cvns"])
    update = IdentityUpdate(
        control_unit_id=unit.id, before=before, after=after, reason=reason.strip(), at=at, by_id=person.id
    )
    session.add(update)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="accept identity",
        sentence=f"New numbers of {unit.role} accepted: {reason.strip()}",
        vehicle_id=unit.vehicle_id,
        subject=("control_unit", unit.id),
        facts={"before": before, "after": after},
    )
    return update
