"""Record one fuel-economy trial."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import attributions, journal, vehicles
from app.record.tables import Attribution, EconomyTrial, Person


def record_economy_trial(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    distance_km: float,
    fuel_l: float,
    conditions: str = "",
    driven_at: dt.datetime | None = None,
) -> EconomyTrial:
    """Keep distance and fuel; an impossible consumption is pointed out before it is recorded."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    if distance_km <= 0 or fuel_l <= 0:
        raise BadInput("Distance and fuel are above zero.", field="distance_km" if distance_km <= 0 else "fuel_l")
    consumption = 100 * fuel_l / distance_km
    if not 0.5 <= consumption <= 100:
        raise BadInput(
            f"{fuel_l:g} L over {distance_km:g} km would be {consumption:.1f} L/100 km; check the units.",
            field="fuel_l",
        )
    row = EconomyTrial(
        vehicle_id=vehicle.id,
        driven_at=driven_at or at,
        distance_km=distance_km,
        fuel_l=fuel_l,
        conditions=conditions.strip(),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    for unit_id, revision_id in attributions.suggested(session, vehicle.id, row.driven_at).items():
        session.add(
            Attribution(
                economy_trial_id=row.id,
                control_unit_id=unit_id,
                revision_id=revision_id,
                reason="from the flash log by time",
                at=at,
                by_id=person.id,
            )
        )
    journal.append(
        session,
        at=at,
        person=person,
        action="record economy trial",
        sentence=f"Economy trial recorded: {consumption:.2f} L/100 km over {distance_km:g} km.",
        vehicle_id=vehicle.id,
        subject=("economy_trial", row.id),
    )
    return row
