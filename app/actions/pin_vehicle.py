"""Keep a car at hand on the first page, or let it go."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, vehicles
from app.record.tables import Person, Vehicle


def pin_vehicle(session: Session, *, person: Person, at: dt.datetime, vehicle_id: int) -> Vehicle:
    """Turn the pin over."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    vehicle.pinned = not vehicle.pinned
    journal.append(
        session,
        at=at,
        person=person,
        action="pin vehicle",
        sentence="Car pinned." if vehicle.pinned else "Car no longer pinned.",
        vehicle_id=vehicle.id,
        subject=("vehicle", vehicle.id),
    )
    return vehicle
