"""Take back a handover that was recorded by mistake."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import journal, vehicles
from app.record.tables import Person, Visit

# Common practice, no source: a slip is noticed within the day; after that the car has come anew.
LONGEST = dt.timedelta(hours=24)


def reopen_visit(session: Session, *, person: Person, at: dt.datetime, vehicle_id: int) -> Visit:
    """The car's last visit goes on as if it had not left; both entries stay in the journal."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    visit = vehicles.last_visit(session, vehicle.id)
    if visit is None or visit.left_at is None:
        raise Conflict("This car has not been handed over; there is nothing to take back.")
    if at - visit.left_at > LONGEST:
        raise Conflict("The car left more than a day ago; book it in anew.")
    visit.left_at = None
    journal.append(
        session,
        at=at,
        person=person,
        action="reopen visit",
        sentence="Handover taken back: the car is still in the shop.",
        vehicle_id=vehicle.id,
        subject=("visit", visit.id),
    )
    return visit
