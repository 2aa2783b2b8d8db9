"""Set, replace or withdraw a limit for a channel of a car."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.channel_names import LIMITABLE
from app.errors import BadInput, Conflict, NotFound
from app.record import journal, limits, vehicles
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


def ending(old: VehicleLimit, reason: str) -> NewLimit:
    """What withdraws a limit: its own figures, with the reason as the note."""
    return NewLimit(
        channel=old.channel,
        bound=old.bound,
        value=old.value,
        severity=old.severity,
        speed_lo_rpm=old.speed_lo_rpm,
        speed_hi_rpm=old.speed_hi_rpm,
        load_lo_percent=old.load_lo_percent,
        load_hi_percent=old.load_hi_percent,
        note=reason,
    )


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
    _check(limit)
    if supersedes_id is not None:
        _check_replaced(session, vehicle.id, supersedes_id)
    if withdrawn and (supersedes_id is None or len(limit.note.strip()) < 3):
        raise BadInput("Write why the limit is withdrawn.", field="note")
    row = VehicleLimit(
        vehicle_id=vehicle.id,
        channel=limit.channel.strip(),
        bound=limit.bound,
        value=limit.value,
        speed_lo_rpm=limit.speed_lo_rpm,
        speed_hi_rpm=limit.speed_hi_rpm,
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
        sentence=f"Limit {verb}: {limits.words(limit.channel, limit.bound, limit.value)}.",
        vehicle_id=vehicle.id,
        subject=("vehicle_limit", row.id),
    )
    return row


def _check(limit: NewLimit) -> None:
    if limit.channel not in LIMITABLE:
        raise BadInput(
            f"“{limit.channel}” is no channel that a limit can be set for; choose one of {', '.join(LIMITABLE)}.",
            field="channel",
        )
    if limit.bound not in ("max", "min"):
        raise BadInput("A limit is a max or a min.", field="bound")
    if limit.severity not in ("stop", "watch"):
        raise BadInput("Severity is stop or watch.", field="severity")
    for low, high, field, what in (
        (limit.speed_lo_rpm, limit.speed_hi_rpm, "speed_hi_rpm", "engine speed"),
        (limit.load_lo_percent, limit.load_hi_percent, "load_hi_percent", "load"),
    ):
        if low is not None and high is not None and low >= high:
            raise BadInput(f"The {what} region ends before it begins.", field=field)


def _check_replaced(session: Session, vehicle_id: int, supersedes_id: int) -> None:
    old = session.get(VehicleLimit, supersedes_id)
    if old is None or old.vehicle_id != vehicle_id:
        raise NotFound("The limit to replace is not one of this car.")
    if all(row.id != old.id for row in vehicles.limits(session, vehicle_id)):
        raise Conflict("That limit was replaced or withdrawn already; look at the limits in force.")
