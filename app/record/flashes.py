"""The flash log of control units with what followed each write."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.tables import CodingSnapshot, CodingWriteBack, ControlUnit, FirstStart, Flash, Person, ReadBack


@dataclass(frozen=True, slots=True)
class FlashRecord:
    """A write and everything recorded after it; the latest read-back and write-back apply."""

    flash: Flash
    read_back: ReadBack | None
    write_back: CodingWriteBack | None
    first_start: FirstStart | None


def flash(session: Session, flash_id: int) -> Flash:
    found = session.get(Flash, flash_id)
    if found is None:
        raise NotFound(f"There is no flash {flash_id}.")
    return found


def control_unit(session: Session, flash_id: int) -> ControlUnit:
    """The control unit that was written to."""
    return session.get_one(ControlUnit, flash(session, flash_id).control_unit_id)


def of_units(session: Session, unit_ids: Collection[int]) -> list[FlashRecord]:
    """Newest first."""
    rows = session.scalars(select(Flash).where(Flash.control_unit_id.in_(unit_ids)).order_by(Flash.id.desc())).all()
    ids = [row.id for row in rows]
    reads = session.scalars(select(ReadBack).where(ReadBack.flash_id.in_(ids)).order_by(ReadBack.id))
    writes = session.scalars(
        select(CodingWriteBack).where(CodingWriteBack.flash_id.in_(ids)).order_by(CodingWriteBack.id)
    )
    starts = session.scalars(select(FirstStart).where(FirstStart.flash_id.in_(ids)))
    read_back = {row.flash_id: row for row in reads}
    write_back = {row.flash_id: row for row in writes}
    start = {row.flash_id: row for row in starts}
    return [FlashRecord(r, read_back.get(r.id), write_back.get(r.id), start.get(r.id)) for r in rows]


def record(session: Session, flash_id: int) -> FlashRecord:
    row = flash(session, flash_id)
    return next(item for item in of_units(session, [row.control_unit_id]) if item.flash.id == flash_id)


def of_vehicle(session: Session, vehicle_id: int) -> list[FlashRecord]:
    ids = session.scalars(select(ControlUnit.id).where(ControlUnit.vehicle_id == vehicle_id)).all()
    return of_units(session, ids)


def coding_snapshots(session: Session, vehicle_id: int) -> Sequence[CodingSnapshot]:
    """Newest first."""
    return session.scalars(
        select(CodingSnapshot).where(CodingSnapshot.vehicle_id == vehicle_id).order_by(CodingSnapshot.id.desc())
    ).all()


def coding_snapshot(session: Session, snapshot_id: int) -> CodingSnapshot:
    found = session.get(CodingSnapshot, snapshot_id)
    if found is None:
        raise NotFound(f"There is no coding snapshot {snapshot_id}.")
    return found


def person_name(session: Session, person_id: int | None) -> str:
    person = None if person_id is None else session.get(Person, person_id)
    return "the program" if person is None else person.name
