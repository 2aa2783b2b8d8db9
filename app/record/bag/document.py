"""The document of a bag, record.json: what was collected, as one JSON text."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.errors import BadInput, Conflict
from app.record.bag.row_json import values_from_json
from app.record.bag.scope import CLASSES
from app.record.base import Base
from app.record.migrate import newest_version

SCHEMA = "revledger vehicle record"
SCHEMA_VERSION = 1
_KEYS = frozenset(
    {
        "schema", "schema_version", "tables_version", "exported_at", "workshop", "journal_head", "vehicle_id",
        "people", "tables", "journal", "content", "left_out",
    }
)  # fmt: skip
_ENTRY_KEYS = frozenset(("seq", "at", "action", "vehicle_id", "body", "previous_hash", "hash"))


@dataclass(frozen=True, slots=True)
class Entry:
    """A journal entry as it stood at the source; `body` is the canonical text that its hash covers."""

    seq: int
    at: str
    action: str
    vehicle_id: int | None
    body: str
    previous_hash: str
    hash: str


@dataclass(frozen=True, slots=True)
class VehicleRecord:
    """One vehicle's record.

    people : id → name. tables : table → rows, each column → plain value. content : digests of the stored files.
    left_out : what the rows point at and the bag does not hold, one sentence each.
    """

    exported_at: str
    workshop: str
    journal_head: str
    vehicle_id: int
    people: Mapping[int, str]
    tables: Mapping[str, Sequence[Mapping[str, Any]]]
    journal: tuple[Entry, ...]
    content: tuple[str, ...]
    left_out: tuple[str, ...]

    def rows(self, table: str) -> Sequence[Mapping[str, Any]]:
        return self.tables.get(table, ())


def to_json(record: VehicleRecord) -> bytes:
    """record.json, UTF-8."""
    content = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "tables_version": newest_version(),
        "exported_at": record.exported_at,
        "workshop": record.workshop,
        "journal_head": record.journal_head,
        "vehicle_id": record.vehicle_id,
        "people": {str(key): name for key, name in record.people.items()},
        "tables": {name: list(rows) for name, rows in record.tables.items()},
        "journal": [{name: getattr(one, name) for name in sorted(_ENTRY_KEYS)} for one in record.journal],
        "content": list(record.content),
        "left_out": list(record.left_out),
    }
    return (json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1, sort_keys=True) + "\n").encode()


def from_json(data: bytes) -> VehicleRecord:
    """Read record.json.

    BadInput for anything that this program did not write, Conflict for a bag whose tables are of another version.
    """
    try:
        given = json.loads(data)
    except (ValueError, RecursionError):
        raise BadInput("record.json is no JSON text.", where="data/record.json") from None
    if not isinstance(given, dict) or given.get("schema") != SCHEMA or given.get("schema_version") != SCHEMA_VERSION:
        raise BadInput("This is no bag with the record of a vehicle.", where="data/record.json")
    if given.get("tables_version") != newest_version():
        raise Conflict(
            f"The bag was written with tables of version {given.get('tables_version')!r}, this program has "
            f"{newest_version()!r}; bring both to the same version and export again."
        )
    if set(given) != _KEYS:
        raise BadInput("record.json has other parts than this program writes.", where="data/record.json")
    return VehicleRecord(
        exported_at=_text(given["exported_at"]),
        workshop=_text(given["workshop"]),
        journal_head=_text(given["journal_head"]),
        vehicle_id=_whole(given["vehicle_id"]),
        people={_whole_text(key): _text(name) for key, name in _mapping(given["people"]).items()},
        tables={_known_table(name): tuple(_list(rows)) for name, rows in _mapping(given["tables"]).items()},
        journal=tuple(_entry(one) for one in _list(given["journal"])),
        content=tuple(_text(one) for one in _list(given["content"])),
        left_out=tuple(_text(one) for one in _list(given["left_out"])),
    )


def instances(record: VehicleRecord, table: str) -> list[Base]:
    """The rows of a table as they stood at the source, with the source's ids; not for any session."""
    kind = CLASSES[table]
    return [kind(**values_from_json(kind, row)) for row in record.rows(table)]


def _known_table(name: str) -> str:
    if name not in CLASSES:
        raise BadInput(f"record.json holds a table “{name[:40]}” that belongs to no vehicle.", where="data/record.json")
    return name


def _entry(given: Any) -> Entry:
    if not isinstance(given, dict) or set(given) != _ENTRY_KEYS:
        raise BadInput("A journal entry of record.json has other parts than this program writes.")
    vehicle_id = given["vehicle_id"]
    return Entry(
        seq=_whole(given["seq"]),
        at=_text(given["at"]),
        action=_text(given["action"]),
        vehicle_id=None if vehicle_id is None else _whole(vehicle_id),
        body=_text(given["body"]),
        previous_hash=_text(given["previous_hash"]),
        hash=_text(given["hash"]),
    )


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise BadInput("record.json holds something else where a text belongs.", where="data/record.json")
    return value


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadInput("record.json holds something else where a whole number belongs.", where="data/record.json")
    return value


def _whole_text(value: str) -> int:
    if not (value.isascii() and value.isdigit() and len(value) < 19):
        raise BadInput("record.json names a person by no number.", where="data/record.json")
    return int(value)


def _mapping(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise BadInput("record.json holds something else where a table of names belongs.", where="data/record.json")
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise BadInput("record.json holds something else where a list belongs.", where="data/record.json")
    return value
