"""Record the first start of the engine after a flash."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import car_state, flashes, journal, vehicles
from app.record.tables import FirstStart, Person


def record_first_start(
    session: Session, *, person: Person, at: dt.datetime, flash_id: int, note: str = "", happened_anyway: bool = False
) -> FirstStart:
    """Refused while coding is pending, unless the person states that it has happened anyway: that is kept too."""
    record = flashes.record(session, flash_id)
    unit = vehicles.control_unit(session, record.flash.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    if record.first_start is not None:
        raise Conflict("The first start after this flash is on record already.")
    pending = bool(car_state.pending_of(session, [vehicle]))
    if pending and not happened_anyway:
        raise Conflict(
            "Coding is pending: write the coding back and verify it before the engine is first started. "
            "If it was started already, say so; the record keeps it."
        )
    row = FirstStart(flash_id=flash_id, note=note.strip(), coding_was_pending=pending, at=at, by_id=person.id)
    session.add(row)
    session.flush()
    suffix = " while coding was still pending" if pending else ""
    journal.append(
        session,
        at=at,
        person=person,
        action="first start",
        sentence=f"Engine first started after the flash of {unit.role}{suffix}.",
        vehicle_id=vehicle.id,
        subject=("flash", flash_id),
    )
    return row
