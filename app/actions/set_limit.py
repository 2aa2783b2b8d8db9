"""Set, replace or withdraw a limit for a channel of a car."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.errors import BadInput, NotFound
from app.record import journal, vehicles
from app.record.tables import Person, VehicleLimit


@dataclass(frozen=True, slots=True)
class NewLimit:
    """A bound on a channel within a region of engine speed and load; open ends are None."""

    channel: str
    bound: str
    value: float
    severity: str = "stop"
    speed_lo_rpm: float | None = None
    speed_hi_rpm: float | None = None
    load_lo_percent: float | None = None
    load_hi_percent: float | None = None
    note: str = ""


def set_limit(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    limit: NewLimit,
    supersedes_id: int | None = None,
    withdrawn: bool = False,
) -> VehicleLimit:
    """Record the limit; the one it supersedes stays in the history."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    if limit.bound not in ("max", "min"):
        raise BadInput("A limit is a max or a min.", field="bound")
    if limit.severity not in ("stop", "watch"):
        raise BadInput("Severity is stop or watch.", field="severity")
    if not limit.channel.strip():
        raise BadInput("Name the channel that the limit is for.", field="channel")
    lo, hi = limit.speed_lo_rpm, limit.speed_hi_rpm
    if lo is not None and hi is not None and lo >= hi:
        raise BadInput("The engine speed region ends before it begins.", field="speed_hi_rpm")
    if supersedes_id is not None:
        old = session.get(VehicleLimit, supersedes_id)
        if old is None or old.vehicle_id != vehicle.id:
            raise NotFound("The limit to replace is not one of this car.")
    row = VehicleLimit(
        vehicle_id=vehicle.id,
        channel=limit.channel.strip(),
        bound=limit.bound,
        value=limit.value,
        speed_lo_rpm=lo,
        speed_hi_rpm=hi,
        load_lo_percent=limit.load_lo_percent,
        load_hi_percent=limit.load_hi_percent,
        severity=limit.severity,
        note=limit.note.strip(),
        supersedes_id=supersedes_id,
        withdrawn=withdrawn,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    verb = "withdrawn" if withdrawn else ("replaced" if supersedes_id else "set")
    journal.append(
        session,
        at=at,
        person=person,
        action="set limit",
        sentence=f"Limit {verb}: {row.channel} {row.bound} {row.value:g}.",
        vehicle_id=vehicle.id,
        subject=("vehicle_limit", row.id),
    )
    return row
