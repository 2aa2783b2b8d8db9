"""What a dyno's profile keeps: the columns of its files by their headings, and its rollers beside them; and the
gearing of a car on them."""

from typing import Any

from sqlalchemy.orm import Session

from app.calc.dyno.roller_pull import Gearing
from app.calc.dyno.rollers import Rollers
from app.record import vehicles
from app.record.tables import Dyno, DynoSession

# Headings are stripped when they are read, so no column can have this one.
ROLLERS = " rollers"


def columns_of(place: Dyno) -> dict[str, dict[str, Any]] | None:
    """The columns that a person has confirmed; None while nobody has confirmed any."""
    found = {heading: choice for heading, choice in (place.profile or {}).items() if heading != ROLLERS}
    return found or None


def rollers_of(place: Dyno) -> Rollers | None:
    """The rollers as kept last; None while nobody has entered them."""
    kept = (place.profile or {}).get(ROLLERS)
    return None if kept is None else Rollers.from_json(kept)


def gearing_of(session: Session, row: DynoSession) -> Gearing | None:
    """The gearing of the dyno session's car in the session's gear; None where the record does not have all of it."""
    car = vehicles.vehicle(session, row.vehicle_id)
    ratios, gear = car.gear_ratios or [], row.gear.strip()
    if not gear.isdecimal() or not 1 <= int(gear) <= len(ratios) or not car.final_drive or not car.tyre_radius_m:
        return None
    return Gearing(float(ratios[int(gear) - 1]) * car.final_drive, car.tyre_radius_m)
