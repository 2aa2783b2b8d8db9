"""Vehicles, their customers and control units."""

import datetime as dt
from collections.abc import Collection, Sequence

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record import search_index
from app.record.search import folded
from app.record.tables import (
    Attachment,
    AttachmentWithdrawal,
    ControlUnit,
    Customer,
    FaultScan,
    IdentityCheck,
    Vehicle,
    VehicleLimit,
    Visit,
)


def vehicle(session: Session, vehicle_id: int) -> Vehicle:
    found = session.get(Vehicle, vehicle_id)
    if found is None:
        raise NotFound(f"There is no vehicle {vehicle_id}.")
    return found


def by_vin(session: Session, vin: str) -> Vehicle | None:
    return session.scalar(select(Vehicle).where(Vehicle.vin == vin))


def control_unit(session: Session, unit_id: int) -> ControlUnit:
    found = session.get(ControlUnit, unit_id)
    if found is None:
        raise NotFound(f"There is no control unit {unit_id}.")
    return found


def control_units(session: Session, vehicle_id: int) -> Sequence[ControlUnit]:
    """Control units of a car, the engine's first."""
    units = session.scalars(
        select(ControlUnit).where(ControlUnit.vehicle_id == vehicle_id).order_by(ControlUnit.id)
    ).all()
    return sorted(units, key=lambda unit: (unit.role != "engine", unit.id))


def control_units_of(session: Session, vehicle_ids: Collection[int]) -> Sequence[ControlUnit]:
    return session.scalars(
        select(ControlUnit).where(ControlUnit.vehicle_id.in_(vehicle_ids)).order_by(ControlUnit.id)
    ).all()


def customer(session: Session, customer_id: int | None) -> Customer | None:
    return None if customer_id is None else session.get(Customer, customer_id)


def search(session: Session, query: str, *, limit: int | None = 50, after: int | None = None) -> Sequence[Vehicle]:
    """Cars in which every word of `query` occurs, newest first; all cars for an empty query.

    `after` continues below that vehicle id.
    """
    statement = matching(session.get_bind().dialect.name, query).limit(limit)
    if after is not None:
        statement = statement.where(Vehicle.id < after)
    return session.scalars(statement).all()


def matching(dialect: str, query: str) -> Select[Vehicle]:
    """The statement behind the search, newest first: the index narrows, each row is looked into again."""
    words = folded(query).split()
    statement = search_index.narrowed(dialect, words)
    for word in words:
        statement = statement.where(Vehicle.search_text.contains(word, autoescape=True))
    return statement


def in_the_shop(session: Session) -> Sequence[tuple[Vehicle, Visit]]:
    """Cars with an open visit, the longest here first."""
    rows = session.execute(
        select(Vehicle, Visit)
        .join(Visit, Visit.vehicle_id == Vehicle.id)
        .where(Visit.left_at.is_(None))
        .order_by(Visit.arrived_at)
    )
    return [(vehicle, visit) for vehicle, visit in rows]


def visits(session: Session, vehicle_id: int) -> Sequence[Visit]:
    return session.scalars(select(Visit).where(Visit.vehicle_id == vehicle_id).order_by(Visit.arrived_at.desc())).all()


def open_visit(session: Session, vehicle_id: int) -> Visit | None:
    return session.scalar(
        select(Visit).where(Visit.vehicle_id == vehicle_id, Visit.left_at.is_(None)).order_by(Visit.id.desc()).limit(1)
    )


def last_visit(session: Session, vehicle_id: int) -> Visit | None:
    """The visit that began last, whether the car is still here or has left."""
    return session.scalar(select(Visit).where(Visit.vehicle_id == vehicle_id).order_by(Visit.id.desc()).limit(1))


def identity_checks(session: Session, unit_ids: Collection[int]) -> Sequence[IdentityCheck]:
    """Newest first."""
    return session.scalars(
        select(IdentityCheck).where(IdentityCheck.control_unit_id.in_(unit_ids)).order_by(IdentityCheck.id.desc())
    ).all()


def fault_scans(session: Session, vehicle_id: int) -> Sequence[FaultScan]:
    """Newest first."""
    return session.scalars(
        select(FaultScan).where(FaultScan.vehicle_id == vehicle_id).order_by(FaultScan.id.desc())
    ).all()


def attachments(session: Session, vehicle_id: int) -> Sequence[Attachment]:
    """Newest first, without those that were withdrawn."""
    withdrawn = select(AttachmentWithdrawal.attachment_id)
    return session.scalars(
        select(Attachment)
        .where(Attachment.vehicle_id == vehicle_id, Attachment.id.not_in(withdrawn))
        .order_by(Attachment.id.desc())
    ).all()


def taken_back(session: Session, vehicle_id: int) -> Sequence[tuple[Attachment, AttachmentWithdrawal]]:
    """Files that no longer count, the last taken back first; without those that were attached again."""
    attached = {row.sha256 for row in attachments(session, vehicle_id)}
    rows = session.execute(
        select(Attachment, AttachmentWithdrawal)
        .join(AttachmentWithdrawal, AttachmentWithdrawal.attachment_id == Attachment.id)
        .where(Attachment.vehicle_id == vehicle_id)
        .order_by(AttachmentWithdrawal.id.desc())
    ).all()
    newest: dict[str, tuple[Attachment, AttachmentWithdrawal]] = {}
    for row, withdrawal in rows:
        if row.sha256 not in attached:
            newest.setdefault(row.sha256, (row, withdrawal))
    return list(newest.values())


def attachment(session: Session, attachment_id: int) -> Attachment:
    found = session.get(Attachment, attachment_id)
    if found is None:
        raise NotFound(f"There is no attachment {attachment_id}.")
    return found


def is_withdrawn(session: Session, attachment_id: int) -> bool:
    query = select(AttachmentWithdrawal.id).where(AttachmentWithdrawal.attachment_id == attachment_id)
    return session.scalar(query) is not None


def limits(session: Session, vehicle_id: int) -> Sequence[VehicleLimit]:
    """Limits in force: not withdrawn and not superseded."""
    rows = session.scalars(
        select(VehicleLimit).where(VehicleLimit.vehicle_id == vehicle_id).order_by(VehicleLimit.id)
    ).all()
    gone = {row.supersedes_id for row in rows}
    return [row for row in rows if row.id not in gone and not row.withdrawn]


def odometer_km(session: Session, vehicle_id: int) -> tuple[float, dt.datetime] | None:
    """The last reading and when."""
    row = session.execute(
        select(Visit.odometer_km, Visit.arrived_at)
        .where(Visit.vehicle_id == vehicle_id, Visit.odometer_km.is_not(None))
        .order_by(Visit.arrived_at.desc())
        .limit(1)
    ).first()
    return None if row is None or row.odometer_km is None else (row.odometer_km, row.arrived_at)


def pinned(session: Session) -> Sequence[Vehicle]:
    """Cars that the shop keeps at hand."""
    return session.scalars(select(Vehicle).where(Vehicle.pinned).order_by(Vehicle.make, Vehicle.model)).all()
