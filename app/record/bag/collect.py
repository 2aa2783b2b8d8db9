"""Collect one vehicle's record: its rows, its journal entries, the digests of its files."""

import datetime as dt
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from app.record import journal, people, vehicles
from app.record.bag.document import Entry, VehicleRecord
from app.record.bag.row_json import columns, row_to_json
from app.record.bag.scope import CLASSES, IN_ORDER, OWNED, SHARED
from app.record.base import Base, Evidence
from app.record.settings import shop
from app.record.tables import JournalEntry

_AT_ONCE = 500


def collect(session: Session, vehicle_id: int, *, at: dt.datetime, with_customer: bool = True) -> VehicleRecord:
    """Everything on record about a vehicle; NotFound for one that is not on record."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    owned = _owned(session, vehicle.id)
    shared = _shared(session, owned, with_customer)
    found = {**owned, **shared}
    entries = _entries(session, vehicle.id, [row for rows in found.values() for row in rows])
    names = people.names(session)
    tables = {name: [row_to_json(row) for row in found[CLASSES[name]]] for name in IN_ORDER if found.get(CLASSES[name])}
    for row in tables["vehicle"]:
        row["search_text"] = ""  # holds the customer's name; written anew where the bag is taken in
    left_out = _leave_out(tables)
    return VehicleRecord(
        exported_at=at.astimezone(dt.UTC).isoformat(timespec="seconds"),
        workshop=shop(session).name,
        journal_head=journal.head(session).short,
        vehicle_id=vehicle.id,
        people={one: names[one] for one in sorted(_people(tables)) if one in names},
        tables=tables,
        journal=tuple(_entry(one) for one in entries),
        content=tuple(sorted(_digests(tables))),
        left_out=left_out,
    )


def _owned(session: Session, vehicle_id: int) -> dict[type[Base], list[Base]]:
    found: dict[type[Base], list[Base]] = {}
    for kind, column in OWNED.items():
        wanted: Collection[Any] = [vehicle_id]
        if column != "id":
            owner = CLASSES[next(iter(columns(kind)[column].columns[0].foreign_keys)).column.table.name]
            wanted = [_key(row) for row in found[owner]]
        found[kind] = _rows(session, kind, column, wanted)
    return found


def _shared(session: Session, owned: dict[type[Base], list[Base]], with_customer: bool) -> dict[type[Base], list[Base]]:
    found: dict[type[Base], list[Base]] = {}
    for kind in SHARED:
        if kind.__tablename__ == "customer" and not with_customer:
            continue
        pointed = {
            getattr(row, columns(type(row))[column].key)
            for rows in owned.values()
            for row in rows
            for column in _pointing(type(row), str(kind.__tablename__))
        }
        found[kind] = _rows(session, kind, "id", sorted(pointed - {None}))
    return found


def _pointing(kind: type[Base], table: str) -> Iterator[str]:
    for name, one in columns(kind).items():
        if any(key.column.table.name == table for key in one.columns[0].foreign_keys):
            yield name


def _rows(session: Session, kind: type[Base], column: str, wanted: Collection[Any]) -> list[Base]:
    found: list[Base] = []
    listed = list(wanted)
    attribute = getattr(kind, columns(kind)[column].key)
    for start in range(0, len(listed), _AT_ONCE):
        found += session.scalars(select(kind).where(attribute.in_(listed[start : start + _AT_ONCE])))
    return sorted(found, key=_key)


def _key(row: Base) -> Any:
    return inspect(type(row)).primary_key_from_instance(row)[0]


def _entries(session: Session, vehicle_id: int, rows: list[Base]) -> list[JournalEntry]:
    """Entries about the vehicle, and those that tell of any of the rows."""
    found = {one.seq: one for one in session.scalars(select(JournalEntry).where(JournalEntry.vehicle_id == vehicle_id))}
    wanted = sorted({row.entry_seq for row in rows if isinstance(row, Evidence)} - found.keys())
    for start in range(0, len(wanted), _AT_ONCE):
        query = select(JournalEntry).where(JournalEntry.seq.in_(wanted[start : start + _AT_ONCE]))
        found |= {one.seq: one for one in session.scalars(query)}
    return [found[seq] for seq in sorted(found)]


def _entry(row: JournalEntry) -> Entry:
    at = row.at.astimezone(dt.UTC).isoformat(timespec="microseconds")
    return Entry(row.seq, at, row.action, row.vehicle_id, row.body, row.previous_hash, row.hash)


def _people(tables: dict[str, list[dict[str, Any]]]) -> set[int]:
    return {row["by_id"] for rows in tables.values() for row in rows if row.get("by_id") is not None}


def _digests(tables: dict[str, list[dict[str, Any]]]) -> set[str]:
    """Digests in columns that point at the content store."""
    found: set[str] = set()
    for name, rows in tables.items():
        pointing = list(_pointing(CLASSES[name], "content"))
        found |= {row[column] for row in rows for column in pointing if row[column] is not None}
    return found


def _leave_out(tables: dict[str, list[dict[str, Any]]]) -> tuple[str, ...]:
    """What rows point at and the bag does not hold, such as the car that a revision was ported from."""
    said = []
    held = {name: {row[_key_name(name)] for row in rows} for name, rows in tables.items()}
    for name, rows in tables.items():
        for column, one in columns(CLASSES[name]).items():
            for key in one.columns[0].foreign_keys:
                target = key.column.table.name
                if target not in CLASSES:
                    continue
                gone = {row[column] for row in rows if row[column] is not None} - held.get(target, set())
                said += [f"{name}.{column} points at {target} {value}, which is not in this bag." for value in gone]
    return tuple(sorted(said))


def _key_name(table: str) -> str:
    return str(inspect(CLASSES[table]).primary_key[0].name)
