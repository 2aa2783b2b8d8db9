"""What describes a car: the fields that people type, their bounds, and what was changed."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlalchemy.orm import Session

from app.calc.vehicle.vin import VinCheck, check_vin
from app.errors import BadInput, Conflict
from app.record import vehicles
from app.record.search import search_text
from app.record.tables import Customer, Vehicle

FUELS = ("petrol", "diesel", "ethanol", "gas", "electric", "other")
DRIVEN = ("front", "rear", "all")


@dataclass(frozen=True, slots=True)
class VehicleDetails:
    """A car as the papers and the people tell it; SI units, empty text for what is not known."""

    vin: str
    plate: str
    make: str
    model: str
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


LABELS = {
    "vin": "VIN",
    "plate": "Plate",
    "make": "Make",
    "model": "Model",
    "year": "Model year",
    "engine": "Engine",
    "fuel": "Fuel",
    "boosted": "Boosted",
    "hybrid": "Hybrid or electric drive",
    "driven_axles": "Driven wheels",
    "rated_power_kw": "Rated power",
    "rated_torque_nm": "Rated torque",
    "rated_standard": "Standard of the rating",
    "test_mass_kg": "Test mass",
    "gear_ratios": "Gear ratios",
    "final_drive": "Final drive",
    "tyre": "Tyre size",
    "tyre_radius_m": "Rolling radius",
    "legal_basis": "Legal basis of use",
    "loses_coding": "Loses option coding when flashed",
}
# Lowest and highest value that any car on a dyno has, in the unit of the field's name (common practice, no source).
RANGES: dict[str, tuple[float, float]] = {
    "year": (1900, 2100),
    "rated_power_kw": (1, 3000),
    "rated_torque_nm": (1, 10_000),
    "test_mass_kg": (100, 40_000),
    "final_drive": (0.5, 20),
    "tyre_radius_m": (0.1, 1),
}
_RATIO = (0.1, 30.0)
_MOST_GEARS = 24
_LENGTHS = {
    "plate": 24,
    "make": 60,
    "model": 60,
    "engine": 120,
    "rated_standard": 40,
    "tyre": 40,
    "legal_basis": 200,
}


def check(session: Session, wanted: VehicleDetails, *, vehicle_id: int | None = None) -> VinCheck:
    """Refuse details that no car can have; `vehicle_id` is the car they are for, None for a new one.

    Raises BadInput with the field at fault, Conflict when another car has this VIN.
    """
    found = check_alone(wanted)
    known = vehicles.by_vin(session, found.vin)
    if known is not None and known.id != vehicle_id:
        raise Conflict(
            f"The VIN {found.vin} is on record already: {known.make} {known.model} {known.plate} "
            f"(vehicle {known.id}). Open that car instead.",
            field="vin",
            details=(f"/vehicles/{known.id}",),
        )
    return found


def check_alone(wanted: VehicleDetails) -> VinCheck:
    """The same without a look at other cars; raises BadInput."""
    found = check_vin(wanted.vin)
    if not found.valid_form or found.severity == "error":
        raise BadInput(found.sentence, field="vin")
    for field in ("make", "model"):
        if not getattr(wanted, field).strip():
            raise BadInput(f"The {field} is missing: type it as the papers say.", field=field)
    _check_texts(wanted)
    _check_numbers(wanted)
    return found


def _check_texts(wanted: VehicleDetails) -> None:
    for field, longest in _LENGTHS.items():
        text = getattr(wanted, field) or ""
        if len(text) > longest:
            raise BadInput(f"{LABELS[field]}: {longest} characters are the most; shorten it.", field=field)
        if "\x00" in text:
            raise BadInput(f"{LABELS[field]}: a zero byte is no text; type it again.", field=field)
    for field, choices in (("fuel", FUELS), ("driven_axles", DRIVEN)):
        if getattr(wanted, field) not in choices:
            raise BadInput(f"{LABELS[field]}: choose one of {', '.join(choices)}.", field=field)


def _check_numbers(wanted: VehicleDetails) -> None:
    for field, (lowest, highest) in RANGES.items():
        value = getattr(wanted, field)
        if value is not None and not lowest <= value <= highest:
            raise BadInput(f"{LABELS[field]} must lie from {lowest:g} to {highest:g}; it is {value:g}.", field=field)
    if len(wanted.gear_ratios) > _MOST_GEARS or any(not _RATIO[0] <= r <= _RATIO[1] for r in wanted.gear_ratios):
        raise BadInput(
            f"Gear ratios: at most {_MOST_GEARS} numbers from {_RATIO[0]:g} to {_RATIO[1]:g}.", field="gear_ratios"
        )


def put_on_record(
    session: Session, wanted: VehicleDetails, vin: str, *, name: str, contact: str, at: dt.datetime
) -> Vehicle:
    """The rows of a car that was checked and of its customer, when one is named."""
    owner = None
    if name.strip():
        owner = Customer(name=name.strip(), contact=contact.strip(), made_at=at)
        session.add(owner)
        session.flush()
    vehicle = Vehicle(
        **columns(wanted, vin),
        customer_id=None if owner is None else owner.id,
        search_text="",
        made_at=at,
        changed_at=at,
    )
    vehicle.search_text = search_text(vehicle, owner)
    session.add(vehicle)
    session.flush()
    return vehicle


def columns(wanted: VehicleDetails, vin: str) -> dict[str, Any]:
    """Column values of a car's row; `vin` in the form that was checked."""
    values = {field.name: getattr(wanted, field.name) for field in fields(VehicleDetails)}
    values = {name: value.strip() if isinstance(value, str) else value for name, value in values.items()}
    return {
        **values,
        "vin": vin,
        "rated_standard": values["rated_standard"] or None,
        "gear_ratios": list(wanted.gear_ratios),
    }


def of_row(vehicle: Vehicle) -> VehicleDetails:
    """The details on record."""
    values = {field.name: getattr(vehicle, field.name) for field in fields(VehicleDetails)}
    return VehicleDetails(**values | {"gear_ratios": tuple(vehicle.gear_ratios)})


def with_given(known: VehicleDetails, given: Mapping[str, Any]) -> VehicleDetails:
    """The details with those that are given in their place; BadInput for an empty value where there must be one."""
    optional = {"rated_standard", *(name for name in RANGES)}
    for name, value in given.items():
        if value is None and name not in optional:
            raise BadInput(f"{LABELS[name]} cannot be empty; leave it out to keep it.", field=name)
    return replace(known, **given)


def changes(vehicle: Vehicle, values: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Field → (on record, wanted) for each field that differs."""
    return {name: (getattr(vehicle, name), value) for name, value in values.items() if getattr(vehicle, name) != value}
