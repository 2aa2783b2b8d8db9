"""Stock reads of control units and the stock they confirm."""

from collections.abc import Collection, Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.tables import ControlUnit, Stock, StockRead, Vehicle


def stock(session: Session, stock_id: int) -> Stock:
    found = session.get(Stock, stock_id)
    if found is None:
        raise NotFound(f"There is no stock {stock_id}.")
    return found


def current(session: Session, unit_id: int) -> Stock | None:
    """The newest generation of a unit's confirmed stock."""
    return session.scalar(
        select(Stock).where(Stock.control_unit_id == unit_id).order_by(Stock.generation.desc()).limit(1)
    )


def current_of(session: Session, unit_ids: Collection[int]) -> dict[int, Stock]:
    """Unit id → newest confirmed stock."""
    rows = session.scalars(select(Stock).where(Stock.control_unit_id.in_(unit_ids)).order_by(Stock.generation))
    return {row.control_unit_id: row for row in rows}


def generations(session: Session, unit_id: int) -> Sequence[Stock]:
    """Oldest first."""
    return session.scalars(select(Stock).where(Stock.control_unit_id == unit_id).order_by(Stock.generation)).all()


def reads(session: Session, unit_id: int) -> Sequence[StockRead]:
    """All stock reads of a unit, oldest first."""
    return session.scalars(select(StockRead).where(StockRead.control_unit_id == unit_id).order_by(StockRead.id)).all()


def unconfirmed(session: Session, unit_id: int) -> Sequence[StockRead]:
    """Reads of the generation that is not confirmed yet, oldest first."""
    generation = next_generation(session, unit_id)
    return [read for read in reads(session, unit_id) if read.generation == generation]


def next_generation(session: Session, unit_id: int) -> int:
    newest = session.scalar(select(func.max(Stock.generation)).where(Stock.control_unit_id == unit_id))
    return (newest or 0) + 1


def sharing(session: Session, digest: str) -> Sequence[tuple[Vehicle, ControlUnit]]:
    """Cars whose current or earlier stock has this digest."""
    rows = session.execute(
        select(Vehicle, ControlUnit)
        .join(ControlUnit, ControlUnit.vehicle_id == Vehicle.id)
        .join(Stock, Stock.control_unit_id == ControlUnit.id)
        .where(Stock.sha256 == digest)
        .order_by(Vehicle.id)
    )
    return [(vehicle, unit) for vehicle, unit in rows.unique()]
