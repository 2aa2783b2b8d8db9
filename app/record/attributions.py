"""What was on a car's control units at a given time, from the flash log: the suggestion for attributing a result."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.record import vehicles
from app.record.tables import Flash


def suggested(session: Session, vehicle_id: int, when: dt.datetime) -> dict[int, int | None]:
    """Control unit id → revision id (None: stock), the last completed write before `when`."""
    units = vehicles.control_units(session, vehicle_id)
    rows = session.scalars(
        select(Flash)
        .where(
            Flash.control_unit_id.in_([unit.id for unit in units]),
            Flash.outcome == "completed",
            Flash.flashed_at <= when,
        )
        .order_by(Flash.flashed_at, Flash.id)
    )
    found: dict[int, int | None] = {unit.id: None for unit in units}
    for flash in rows:
        found[flash.control_unit_id] = flash.revision_id
    return found
