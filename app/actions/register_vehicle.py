"""Register a car that the shop has not seen before."""

import datetime as dt
from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session

from app.calc.vehicle.vin import check_vin
from app.errors import BadInput, Conflict
from app.record import journal, vehicles
from app.record.search import search_text
from app.record.tables import Customer, Person, Vehicle, Visit


@dataclass(frozen=True, slots=True)
class NewVehicle:
    """What is known about the car; SI units, empty text for what is not known."""

    vin: str
    plate: str
    make: str
    model: str
    customer_name: str = ""
    customer_contact: str = ""
    year: int | None = None
    engine: str = ""
    fuel: str = "petrol"
    boosted: bool = False
    hybrid: bool = False
    driven_axles: str = "rear"
    rated_power_kw: float | None = None
    rated_torque_nm: float | None = None
    rated_standard: str | None = None
    test_mass_kg: float | None = None
    gear_ratios: tuple[float, ...] = ()
    final_drive: float | None = None
    tyre: str = ""
    tyre_radius_m: float | None = None
    legal_basis: str = ""
    loses_coding: bool = True
    odometer_km: float | None = None
    visit_reason: str = ""


def register_vehicle(session: Session, *, person: Person, at: dt.datetime, car: NewVehicle) -> Vehicle:
    """Record the car, its owner and its arrival.

    Raises BadInput for a VIN that cannot be one, Conflict when the VIN is on record already.
    """
    check = check_vin(car.vin)
    if not check.valid_form or check.severity == "error":
        raise BadInput(check.sentence, field="vin")
    for field, value in (("make", car.make), ("model", car.model)):
        if not value.strip():
            raise BadInput(f"The {field} is missing: type it as the papers say.", field=field)
    known = vehicles.by_vin(session, check.vin)
    if known is not None:
        raise Conflict(
            f"The VIN {check.vin} is on record already: {known.make} {known.model} {known.plate} "
            f"(vehicle {known.id}). Open that car instead.",
            field="vin",
            details=(f"/vehicles/{known.id}",),
        )
    owner = _owner(session, car, at)
    vehicle = _vehicle(car, check.vin, owner, at)
    session.add(vehicle)
    session.flush()
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


def _owner(session: Session, car: NewVehicle, at: dt.datetime) -> Customer | None:
    name = car.customer_name.strip()
    if not name:
        return None
    owner = Customer(name=name, contact=car.customer_contact.strip(), made_at=at)
    session.add(owner)
    session.flush()
    return owner


def _vehicle(car: NewVehicle, vin: str, owner: Customer | None, at: dt.datetime) -> Vehicle:
    described = asdict(car)
    for key in ("vin", "customer_name", "customer_contact", "odometer_km", "visit_reason", "gear_ratios"):
        del described[key]
    vehicle = Vehicle(
        **described,
        vin=vin,
        gear_ratios=list(car.gear_ratios),
        customer_id=None if owner is None else owner.id,
        search_text="",
        made_at=at,
        changed_at=at,
    )
    vehicle.search_text = search_text(vehicle, owner)
    return vehicle
