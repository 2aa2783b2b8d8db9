"""Put a limit back in force that was withdrawn by mistake."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import journal, limits
from app.record.tables import Person, VehicleLimit


def reinstate_limit(session: Session, *, person: Person, at: dt.datetime, limit_id: int) -> VehicleLimit:
    """The limit as it stood, set anew in place of its withdrawal; that it was withdrawn, and why, stays on record.

    `limit_id` may name the limit or the row that withdrew it.
    """
    old = limits.limit(session, limit_id)
    if old.withdrawn and old.supersedes_id is not None:
        old = limits.limit(session, old.supersedes_id)
    end = limits.successor(session, old.id)
    if end is None:
        raise Conflict("This limit was not withdrawn; it is in force.")
    if not end.withdrawn:
        raise Conflict("This limit was replaced by another one; set that one to the values wanted.")
    if limits.successor(session, end.id) is not None:
        raise Conflict("This limit is in force again already.")
    row = VehicleLimit(
        vehicle_id=old.vehicle_id,
        channel=old.channel,
        bound=old.bound,
        value=old.value,
        speed_lo_rpm=old.speed_lo_rpm,
        speed_hi_rpm=old.speed_hi_rpm,
        load_lo_percent=old.load_lo_percent,
        load_hi_percent=old.load_hi_percent,
        severity=old.severity,
        note=old.note,
        supersedes_id=end.id,
        withdrawn=False,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="reinstate limit",
        sentence=f"Limit back in force: {limits.words(row.channel, row.bound, row.value)}.",
        vehicle_id=row.vehicle_id,
        subject=("vehicle_limit", row.id),
    )
    return row
