"""What is on each control unit now, and which cars still wait for their coding: read from the log."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.vehicle.car_state import (
    Event,
    FlashLogged,
    IdentityChecked,
    OnUnit,
    PendingFlash,
    StockConfirmed,
    coding_pending,
    on_unit,
)
from app.record.flash_log import broken_checksums
from app.record.tables import (
    CodingWriteBack,
    ControlUnit,
    Flash,
    IdentityCheck,
    ReadBack,
    Revision,
    Stock,
    Vehicle,
)


@dataclass(frozen=True, slots=True)
class Pending:
    """A car whose coding must be written back before the engine is first started."""

    vehicle_id: int
    vehicle: str
    flashes: tuple[PendingFlash, ...]

    @property
    def sentence(self) -> str:
        units = ", ".join(sorted({flash.control_unit for flash in self.flashes}))
        return (
            f"Coding pending ({units} flashed): write the coding back and verify it before the engine is first started."
        )


def vehicle_label(vehicle: Vehicle) -> str:
    """How a car is named in sentences: make and model, and set apart the plate (or the VIN's last six)."""
    return f"{vehicle.make} {vehicle.model} · {vehicle.plate or '…' + vehicle.vin[-6:]}"


def labels(session: Session, vehicle_ids: Collection[int]) -> dict[int, str]:
    """Vehicle id → how the car is named."""
    rows = session.scalars(select(Vehicle).where(Vehicle.id.in_(vehicle_ids)))
    return {row.id: vehicle_label(row) for row in rows}


def on_units(session: Session, unit_ids: Collection[int]) -> dict[int, OnUnit]:
    """What each of the given control units carries now."""
    events: dict[int, list[tuple[tuple[int, int], Event]]] = defaultdict(list)
    stocks = session.scalars(select(Stock).where(Stock.control_unit_id.in_(unit_ids)))
    for stock in stocks:
        events[stock.control_unit_id].append(((stock.entry_seq, stock.id), StockConfirmed(stock.at, stock.id)))
    checks = session.scalars(select(IdentityCheck).where(IdentityCheck.control_unit_id.in_(unit_ids)))
    for check in checks:
        events[check.control_unit_id].append(((check.entry_seq, check.id), IdentityChecked(check.at, check.matches)))
    for key, unit_id, event in _flash_events(session, unit_ids):
        events[unit_id].append((key, event))
    return {
        unit_id: on_unit([event for _, event in sorted(events[unit_id], key=lambda pair: pair[0])])
        for unit_id in unit_ids
    }


def _flash_events(session: Session, unit_ids: Collection[int]) -> list[tuple[tuple[int, int], int, FlashLogged]]:
    equal: dict[int, bool] = {}
    read_backs = (
        select(ReadBack.flash_id, ReadBack.equal)
        .join(Flash, Flash.id == ReadBack.flash_id)
        .where(Flash.control_unit_id.in_(unit_ids))
        .order_by(ReadBack.id)
    )
    for flash_id, same in session.execute(read_backs):
        equal[flash_id] = same
    query = (
        select(Flash, Revision.number, Revision.title)
        .outerjoin(Revision, Revision.id == Flash.revision_id)
        .where(Flash.control_unit_id.in_(unit_ids))
        .order_by(Flash.id)
    )
    found: list[tuple[tuple[int, int], int, FlashLogged]] = []
    for flash, number, title in session.execute(query):
        label = "Stock" if number is None else f"Revision {number} “{title}”"
        event = FlashLogged(
            flash.flashed_at,
            flash.id,
            flash.revision_id,
            flash.stock_id,
            flash.outcome,
            equal.get(flash.id),
            label,
            checksum_broken=bool(broken_checksums(flash)),
        )
        found.append(((flash.entry_seq, flash.id), flash.control_unit_id, event))
    return found


def pending_of(session: Session, vehicles: Sequence[Vehicle]) -> dict[int, tuple[PendingFlash, ...]]:
    """Vehicle id → flashes whose coding write-back is still owed (only cars that owe one)."""
    losing = {vehicle.id: vehicle for vehicle in vehicles if vehicle.loses_coding}
    if not losing:
        return {}
    verified: dict[int, tuple[bool, str | None]] = {}
    query = (
        select(CodingWriteBack.flash_id, CodingWriteBack.equal, CodingWriteBack.waiver_reason)
        .join(Flash, Flash.id == CodingWriteBack.flash_id)
        .join(ControlUnit, ControlUnit.id == Flash.control_unit_id)
        .where(ControlUnit.vehicle_id.in_(losing))
        .order_by(CodingWriteBack.id)
    )
    for flash_id, equal, reason in session.execute(query):
        verified[flash_id] = (equal and reason is None, reason)
    flashes: dict[int, list[PendingFlash]] = defaultdict(list)
    logged = (
        select(Flash.id, Flash.outcome, ControlUnit.role, ControlUnit.vehicle_id)
        .join(ControlUnit, ControlUnit.id == Flash.control_unit_id)
        .where(ControlUnit.vehicle_id.in_(losing))
        .order_by(Flash.id)
    )
    for flash_id, outcome, role, vehicle_id in session.execute(logged):
        done, reason = verified.get(flash_id, (False, None))
        flashes[vehicle_id].append(PendingFlash(flash_id, role, outcome, done, reason))
    owed = {v: coding_pending(loses_coding=True, flashes=flashes[v]) for v in losing}
    return {vehicle_id: pending for vehicle_id, pending in owed.items() if pending}


def pending_everywhere(session: Session) -> list[Pending]:
    """Every car that waits for its coding, for the banner on each page."""
    recently = (
        select(Vehicle)
        .where(Vehicle.loses_coding, Vehicle.id.in_(select(ControlUnit.vehicle_id).join(Flash)))
        .order_by(Vehicle.id)
    )
    vehicles = list(session.scalars(recently))
    owed = pending_of(session, vehicles)
    return [Pending(v.id, vehicle_label(v), owed[v.id]) for v in vehicles if v.id in owed]
