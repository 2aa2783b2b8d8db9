"""Limits of a car for logged channels: those in force, and every one that ever was."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.dyno.limits import Limit
from app.errors import NotFound
from app.record.tables import VehicleLimit


@dataclass(frozen=True, slots=True)
class LimitRecord:
    """A limit with what became of it: "in force", "replaced" or "withdrawn"."""

    limit: VehicleLimit
    state: str


def limit(session: Session, limit_id: int) -> VehicleLimit:
    found = session.get(VehicleLimit, limit_id)
    if found is None:
        raise NotFound(f"There is no limit {limit_id}.")
    return found


def history(session: Session, vehicle_id: int) -> Sequence[LimitRecord]:
    """Every limit of the car, oldest first; the row that withdraws one stands for its end and is left out."""
    rows = session.scalars(
        select(VehicleLimit).where(VehicleLimit.vehicle_id == vehicle_id).order_by(VehicleLimit.id)
    ).all()
    ended = {row.supersedes_id: row for row in rows if row.supersedes_id is not None}

    def state(row: VehicleLimit) -> str:
        end = ended.get(row.id)
        return "in force" if end is None else "withdrawn" if end.withdrawn else "replaced"

    return [LimitRecord(row, state(row)) for row in rows if not row.withdrawn]


def to_check(row: VehicleLimit) -> Limit:
    """The limit as the computation takes it."""
    return Limit(
        channel=row.channel,
        bound="max" if row.bound == "max" else "min",
        value=row.value,
        speed_lo_rpm=row.speed_lo_rpm,
        speed_hi_rpm=row.speed_hi_rpm,
        load_lo_percent=row.load_lo_percent,
        load_hi_percent=row.load_hi_percent,
        severity=row.severity,
    )
