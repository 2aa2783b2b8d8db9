"""Limits of a car for logged channels: those in force, and every one that ever was."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.dyno.channel_names import CHANNEL_NAMES, channel_label
from app.calc.dyno.limits import Limit
from app.calc.units import UNITS_OF
from app.errors import NotFound
from app.record.tables import VehicleLimit


@dataclass(frozen=True, slots=True)
class LimitRecord:
    """A limit with what became of it: "in force", "replaced", "withdrawn", or "back in force" when a later row set it
    again after its withdrawal. `why` is the reason of the withdrawal."""

    limit: VehicleLimit
    state: str
    why: str = ""


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

    def record(row: VehicleLimit) -> LimitRecord:
        end = ended.get(row.id)
        if end is None:
            return LimitRecord(row, "in force")
        if not end.withdrawn:
            return LimitRecord(row, "replaced")
        return LimitRecord(row, "back in force" if end.id in ended else "withdrawn", end.note)

    return [record(row) for row in rows if not row.withdrawn]


def successor(session: Session, limit_id: int) -> VehicleLimit | None:
    """The row that took the place of this one."""
    query = select(VehicleLimit).where(VehicleLimit.supersedes_id == limit_id).order_by(VehicleLimit.id).limit(1)
    return session.scalars(query).one_or_none()


def words(channel: str, bound: str, value: float) -> str:
    """ "Lambda max 0.88 λ", as the journal has it, in the unit that the channel is kept in."""
    unit = UNITS_OF[CHANNEL_NAMES[channel].quantity][0]
    return f"{channel_label(channel)} {bound} {value:g} {unit}"


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
