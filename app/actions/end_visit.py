"""Let a car leave the shop."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import car_state, journal, vehicles
from app.record.tables import Person, Visit


def end_visit(session: Session, *, person: Person, at: dt.datetime, vehicle_id: int) -> Visit:
    """Record the handover; a car whose coding is still pending does not leave."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    visit = vehicles.open_visit(session, vehicle.id)
    if visit is None:
        raise Conflict("This car is not in the shop.")
    if car_state.pending_of(session, [vehicle]):
        raise Conflict(
            "Coding is pending on this car: write it back and verify it (or record why none is needed) "
            "before it is handed over."
        )
    visit.left_at = at
    journal.append(
        session,
        at=at,
        person=person,
        action="end visit",
        sentence="Car handed over.",
        vehicle_id=vehicle.id,
        subject=("visit", visit.id),
    )
    return visit
