"""Change what describes a car; the journal keeps each value before and after."""

import datetime as dt
from typing import Any

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict, Forbidden
from app.record import car_state, journal, vehicle_details, vehicles
from app.record.search import search_text
from app.record.tables import Person, Vehicle
from app.record.vehicle_details import LABELS, VehicleDetails

# The VIN says which car the record is about; loses_coding decides whether the coding interlock asks at all.
NEEDS_REASON = ("vin", "loses_coding")


def change_vehicle(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    wanted: VehicleDetails,
    reason: str = "",
    seen_at: dt.datetime | None = None,
) -> Vehicle:
    """Take over the details that differ.

    `seen_at` is the moment of the last change that the person saw; a later one by somebody else is a Conflict, so
    that nobody overwrites what they never read. VIN and loses_coding need a tuner or manager and a written reason;
    loses_coding cannot be turned off while a coding write-back is owed. Raises what `vehicle_details.check` raises,
    Conflict when nothing would change.
    """
    vehicle = vehicles.vehicle(session, vehicle_id)
    if seen_at is not None and vehicle.changed_at != seen_at:
        raise Conflict(
            "Somebody else has changed this car since you opened the form; look at it again, then change it."
        )
    check = vehicle_details.check(session, wanted, vehicle_id=vehicle.id)
    changed = vehicle_details.changes(vehicle, vehicle_details.columns(wanted, check.vin))
    if not changed:
        raise Conflict("Nothing would change: every field is as it is on record.")
    _check_weighty(session, vehicle, changed, person, reason)
    for name, (_, value) in changed.items():
        setattr(vehicle, name, value)
    vehicle.changed_at = at
    vehicle.search_text = search_text(vehicle, vehicles.customer(session, vehicle.customer_id))
    journal.append(
        session,
        at=at,
        person=person,
        action="change vehicle",
        sentence=f"{_told(changed)}." + (f" Reason: {reason.strip()}" if reason.strip() else ""),
        vehicle_id=vehicle.id,
        subject=("vehicle", vehicle.id),
        facts={name: list(pair) for name, pair in changed.items()},
    )
    return vehicle


def _check_weighty(
    session: Session, vehicle: Vehicle, changed: dict[str, tuple[Any, Any]], person: Person, reason: str
) -> None:
    weighty = [name for name in NEEDS_REASON if name in changed]
    if not weighty:
        return
    label = LABELS[weighty[0]]
    if person.role == "front_desk":
        raise Forbidden(f"{label}: only a tuner or a manager may change it; ask one of them.", field=weighty[0])
    if len(reason.strip()) < 3:
        raise BadInput(f"{label}: write why it is changed; the reason stays on the car's record.", field="reason")
    if changed.get("loses_coding") == (True, False) and vehicle.id in car_state.pending_of(session, [vehicle]):
        raise Conflict(
            "A coding write-back is still owed on this car: write it back, or waive it for that flash with a reason, "
            "before you record that this car does not lose its coding.",
            field="loses_coding",
        )


def _told(changed: dict[str, tuple[Any, Any]]) -> str:
    return "; ".join(f"{LABELS[name]} {_word(before)} → {_word(after)}" for name, (before, after) in changed.items())


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or value in ("", []):
        return "not recorded"
    if isinstance(value, list):
        return " ".join(f"{one:g}" for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
