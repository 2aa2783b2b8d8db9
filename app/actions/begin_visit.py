"""Book a car into the shop."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal, vehicles
from app.record.tables import Person, Visit


def begin_visit(
    session: Session, *, person: Person, at: dt.datetime, vehicle_id: int, reason: str, odometer_km: float | None
) -> Visit:
    """Record the arrival with odometer; a reading below the last one is refused with both figures."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    if vehicles.open_visit(session, vehicle.id) is not None:
        raise Conflict("This car is in the shop already; let it leave before it arrives again.")
    last = vehicles.odometer_km(session, vehicle.id)
    if odometer_km is not None and last is not None and odometer_km < last[0]:
        raise BadInput(
            f"The odometer shows {odometer_km:,.0f} km, but {last[0]:,.0f} km were read on {last[1]:%Y-%m-%d}; "
            "check the reading, or leave it empty and note why.",
            field="odometer_km",
        )
    visit = Visit(vehicle_id=vehicle.id, reason=reason.strip(), odometer_km=odometer_km, arrived_at=at, by_id=person.id)
    session.add(visit)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="begin visit",
        sentence=f"Car arrived: {reason.strip() or 'no reason noted'}.",
        vehicle_id=vehicle.id,
        subject=("visit", visit.id),
        facts={"odometer_km": odometer_km},
    )
    return visit
