"""What taking over a list of cars would do, line by line."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.vehicle.listed import ListedVehicle
from app.errors import BadInput
from app.record import vehicle_details
from app.record.tables import Vehicle
from app.record.vehicle_details import VehicleDetails

Outcome = Literal["new", "known", "refused"]
_AT_ONCE = 500
_NAMES = frozenset(field.name for field in fields(VehicleDetails))


@dataclass(frozen=True, slots=True)
class Planned:
    """One line of the list: what would be done with it, and why. `details` only for a new car."""

    line: int
    vin: str
    car: str
    outcome: Outcome
    sentence: str
    vehicle_id: int | None = None
    details: VehicleDetails | None = None
    customer_name: str = ""
    customer_contact: str = ""


def plan(session: Session, listed: Sequence[ListedVehicle]) -> tuple[Planned, ...]:
    """A car whose VIN is on record stays as it is there; a VIN that stands twice in the list is taken once."""
    known = _known(session, sorted({row.vin for row in listed if row.vin}))
    seen: dict[str, int] = {}
    found = []
    for row in listed:
        planned = _planned(row, known, seen)
        if planned.outcome == "new":
            seen[planned.vin] = row.line
        found.append(planned)
    return tuple(found)


def _known(session: Session, vins: Sequence[str]) -> dict[str, Vehicle]:
    found: dict[str, Vehicle] = {}
    for start in range(0, len(vins), _AT_ONCE):
        rows = session.scalars(select(Vehicle).where(Vehicle.vin.in_(vins[start : start + _AT_ONCE])))
        found |= {row.vin: row for row in rows}
    return found


def _planned(row: ListedVehicle, known: dict[str, Vehicle], seen: dict[str, int]) -> Planned:
    values = dict(row.fields)
    name, contact = values.pop("customer_name", ""), values.pop("customer_contact", "")
    car = f"{values.get('make', '')} {values.get('model', '')} {values.get('plate', '')}".strip()
    if row.refused:
        return Planned(row.line, row.vin, car, "refused", row.refused)
    there = known.get(row.vin)
    if there is not None:
        return Planned(row.line, row.vin, car, "known", _compared(there, values), there.id)
    if row.vin in seen:
        return Planned(row.line, row.vin, car, "refused", f"This VIN stands in line {seen[row.vin]} already.")
    try:
        details = VehicleDetails(**({"vin": "", "plate": "", "make": "", "model": ""} | values))
        check = vehicle_details.check_alone(details)
    except BadInput as error:
        return Planned(row.line, row.vin, car, "refused", error.sentence)
    return Planned(row.line, check.vin, car, "new", check.sentence, None, details, name, contact)


def _compared(there: Vehicle, values: dict[str, Any]) -> str:
    """Which fields of the list differ from the record, which keeps its own."""
    on_record = vehicle_details.of_row(there)
    differing = [
        vehicle_details.LABELS[name].lower()
        for name, value in values.items()
        if name in _NAMES and name != "vin" and getattr(on_record, name) != value
    ]
    if not differing:
        return "On record already."
    return f"On record already and kept as it is there; the list differs in: {', '.join(differing)}."
