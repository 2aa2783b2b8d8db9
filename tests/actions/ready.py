"""A car in the middle of its story, for trying acts on: stock, coding, a flashed revision, pulls."""

from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from app.record.tables import (
    Base,
    CodingSnapshot,
    ControlUnit,
    Dyno,
    DynoSession,
    Flash,
    Layout,
    Revision,
    Run,
    Stock,
    Vehicle,
)
from tests.shop import STOCK, Shop, changed, with_sum

Row = TypeVar("Row", bound=Base)
READ = with_sum(STOCK)
TUNED = with_sum(changed(READ, 0x101, 0x700))


@dataclass(frozen=True)
class Ready:
    """What is on record."""

    shop: Shop
    vehicle: Vehicle
    unit: ControlUnit
    layout: Layout
    stock: Stock
    coding: CodingSnapshot
    revision: Revision
    flash: Flash
    dyno: Dyno
    measured: DynoSession
    run: Run


def ready(session: Session) -> Ready:
    shop = Shop(session)
    vehicle = shop.car(odometer_km=81_250.0, visit_reason="Wants more torque.")
    layout = shop.layout()
    unit = shop.unit(vehicle, calibration_ids=("CAL-1",), cvns=("0000BEEF",))
    stock = shop.stock(unit, READ)
    coding = shop.coding(vehicle)
    revision = shop.revision(unit, TUNED)
    flash = shop.flash(unit, revision)
    dyno = shop.dyno()
    measured = shop.dyno_session(vehicle, dyno)
    return Ready(shop, vehicle, unit, layout, stock, coding, revision, flash, dyno, measured, shop.pull(measured))


def newest(session: Session, table: type[Row]) -> Row:
    """The row that was added last."""
    key = inspect(table).primary_key[0]
    return session.scalars(select(table).order_by(key.desc()).limit(1)).one()
