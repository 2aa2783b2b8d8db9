"""Put a control unit of a car on record."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.calc.vehicle.identity import normalise_cvn, normalise_number, require_cvns
from app.errors import BadInput, Conflict
from app.record import journal, vehicles
from app.record.tables import ControlUnit, Person

ROLES = ("engine", "transmission", "hybrid drive", "body", "other")


def add_control_unit(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    role: str,
    hardware_number: str,
    software_number: str = "",
    calibration_ids: Sequence[str] = (),
    cvns: Sequence[str] = (),
    base_address: int = 0,
) -> ControlUnit:
    """Record the unit with the numbers its label and scan give.

    `base_address` is where a raw binary read of this unit begins.
    """
    vehicle = vehicles.vehicle(session, vehicle_id)
    if role not in ROLES:
        raise BadInput(f"“{role}” is no role of a control unit; choose one of {', '.join(ROLES)}.", field="role")
    number = hardware_number.strip()
    if not number:
        raise BadInput("The hardware number is missing: copy it from the label or the scan.", field="hardware_number")
    told = [text for text in cvns if text.strip()]
    require_cvns(told)
    for unit in vehicles.control_units(session, vehicle.id):
        if unit.role == role and normalise_number(unit.hardware_number) == normalise_number(number):
            raise Conflict(f"This car has a control unit {role} {number} on record already.", field="hardware_number")
    unit = ControlUnit(
        vehicle_id=vehicle.id,
        role=role,
        hardware_number=number,
        software_number=software_number.strip(),
        calibration_ids=[text.strip() for text in calibration_ids if text.strip()],
        cvns=[normalise_cvn(text) for text in told],
        base_address=base_address,
        made_at=at,
    )
    session.add(unit)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="add control unit",
        sentence=f"Control unit {role} {unit.hardware_number}, software {unit.software_number or 'not known'}, added.",
        vehicle_id=vehicle.id,
        subject=("control_unit", unit.id),
        facts={"calibration_ids": unit.calibration_ids, "cvns": unit.cvns, "base_address": base_address},
    )
    return unit
