"""Record why a flash needs no coding write-back."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import flashes, journal, vehicles
from app.record.tables import CodingWriteBack, Person


def waive_coding(session: Session, *, person: Person, at: dt.datetime, flash_id: int, reason: str) -> CodingWriteBack:
    """Close the interlock's question for this flash with a written reason (this car does not lose its coding)."""
    if len(reason.strip()) < 10:
        raise BadInput("Write the reason in a sentence: it stays on the car's record.", field="reason")
    flash = flashes.flash(session, flash_id)
    unit = vehicles.control_unit(session, flash.control_unit_id)
    row = CodingWriteBack(
        flash_id=flash.id, equal=False, differences=[], waiver_reason=reason.strip(), at=at, by_id=person.id
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="waive coding",
        sentence=f"No coding write-back needed after the flash of {unit.role}: {reason.strip()}",
        vehicle_id=unit.vehicle_id,
        subject=("flash", flash.id),
    )
    return row
