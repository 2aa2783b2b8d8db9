"""Whether the record in a bag holds together: every row of evidence as its journal entry says, none missing."""

import json
from typing import Any

from app.errors import BadInput, Damaged
from app.record.bag.document import VehicleRecord, instances
from app.record.bag.scope import OWNED
from app.record.base import Base, Evidence
from app.record.journal import link
from app.record.row_hash import row_hash, row_key

_OWNED_NAMES = frozenset(str(kind.__tablename__) for kind in OWNED)


def check(record: VehicleRecord) -> None:
    """Raise Damaged that names the first row or entry that does not hold, BadInput for a bag of no single vehicle."""
    cars = record.rows("vehicle")
    if len(cars) != 1 or cars[0].get("id") != record.vehicle_id:
        raise BadInput("record.json must hold exactly one vehicle.", where="data/record.json")
    told = _told(record)
    for name in record.tables:
        for row in instances(record, name):
            if isinstance(row, Evidence):
                _check_row(name, row, told)
    missing = [key for key, (_, ours) in told.items() if ours and key[0] in _OWNED_NAMES]
    if missing:
        raise Damaged(f"{missing[0][0]} {missing[0][1]}: the journal speaks of this row, but the bag does not hold it.")


def _told(record: VehicleRecord) -> dict[tuple[str, str], tuple[str, bool]]:
    """(table, key) → (hash, whether its entry is about this vehicle), from entries that hold."""
    told: dict[tuple[str, str], tuple[str, bool]] = {}
    before = 0
    for entry in record.journal:
        if entry.seq <= before or not _is_hash(entry.previous_hash):
            raise Damaged(f"Journal entry {entry.seq} of the bag stands in no order.")
        if link(entry.previous_hash, entry.body) != entry.hash:
            raise Damaged(f"Journal entry {entry.seq} of the bag was changed: its hash does not hold.")
        before = entry.seq
        body = _body(entry.body, entry.seq)
        if body["vehicle_id"] != entry.vehicle_id or body["action"] != entry.action or body["seq"] != entry.seq:
            raise Damaged(f"Journal entry {entry.seq} of the bag differs from its own content.")
        for table, key, digest in body["rows"]:
            told[(table, str(key))] = (digest, entry.vehicle_id == record.vehicle_id)
    return told


def _check_row(name: str, row: Base, told: dict[tuple[str, str], tuple[str, bool]]) -> None:
    key = (name, str(row_key(row)))
    digest, _ = told.pop(key, ("", False))
    if not digest:
        raise Damaged(f"{name} {key[1]}: no journal entry in the bag speaks of this row.")
    if row_hash(row) != digest:
        raise Damaged(f"{name} {key[1]}: the row differs from what the journal recorded.")


def _body(text: str, seq: int) -> dict[str, Any]:
    try:
        body = json.loads(text)
        rows = [(str(table), key, str(digest)) for table, key, digest in body["rows"]]
        said = {name: body[name] for name in ("seq", "action", "vehicle_id", "sentence", "facts", "subject", "person")}
    except (ValueError, KeyError, TypeError, RecursionError):
        raise Damaged(f"Journal entry {seq} of the bag cannot be read.") from None
    if not isinstance(said["sentence"], str) or not isinstance(said["facts"], dict):
        raise Damaged(f"Journal entry {seq} of the bag cannot be read.")
    return {**said, "rows": rows}


def _is_hash(text: str) -> bool:
    return len(text) == 64 and not set(text) - set("0123456789abcdef")
