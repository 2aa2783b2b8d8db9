"""Register a car that the shop has not seen before."""

import datetime as dt
from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import journal, vehicle_details
from app.record.tables import Person, Vehicle, Visit
from app.record.vehicle_details import VehicleDetails

MOST_KM = 5_000_000


@dataclass(frozen=True, slots=True)
class NewVehicle(VehicleDetails):
    """The car, its owner and its arrival."""

    customer_name: str = ""
    customer_contact: str = ""
    odometer_km: float | None = None
    visit_reason: str = ""


def register_vehicle(session: Session, *, person: Person, at: dt.datetime, car: NewVehicle) -> Vehicle:
    """Record the car, its owner and its arrival.

    Raises BadInput for a VIN that cannot be one, Conflict when the VIN is on record already.
    """
    check = vehicle_details.check(session, car)
    if car.odometer_km is not None and not 0 <= car.odometer_km <= MOST_KM:
        raise BadInput(f"Odometer must lie from 0 to {MOST_KM:,} km; it is {car.odometer_km:g}.", field="odometer_km")
    vehicle = vehicle_details.put_on_record(
        session, car, check.vin, name=car.customer_name, contact=car.customer_contact, at=at
    )
    if car.odometer_km is not None or car.visit_reason:
        session.add(
            Visit(
                vehicle_id=vehicle.id,
                reason=car.visit_reason,
                odometer_km=car.odometer_km,
                arrived_at=at,
                by_id=person.id,
            )
        )
    facts = {k: v for k, v in asdict(car).items() if not k.startswith("customer_")}
    journal.append(
        session,
        at=at,
        person=person,
        action="register vehicle",
        sentence=f"{vehicle.make} {vehicle.model}, VIN {vehicle.vin}, registered.",
        vehicle_id=vehicle.id,
        subject=("vehicle", vehicle.id),
        facts={**facts, "vin_check": check.sentence},
    )
    return vehicle
