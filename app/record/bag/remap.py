"""Ids of another database turned into ours: in columns, and in the values that name rows inside JSON."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from app.errors import Damaged
from app.record.bag.row_json import columns
from app.record.base import Base

# JSON key → table, for values that name a row by its id. Keys that end in "_ids" hold lists of the same.
NAMED = {
    "vehicle_id": "vehicle",
    "unit_id": "control_unit",
    "control_unit_id": "control_unit",
    "identity_check_id": "identity_check",
    "stock_id": "stock",
    "revision_id": "revision",
    "parent_id": "revision",
    "ported_from_id": "revision",
    "layout_id": "layout",
    "flash_id": "flash",
    "read_back_id": "read_back",
    "coding_snapshot_id": "coding_snapshot",
    "wanted_snapshot_id": "coding_snapshot",
    "read_snapshot_id": "coding_snapshot",
    "coding_write_back_id": "coding_write_back",
    "fault_scan_id": "fault_scan",
    "session_id": "dyno_session",
    "baseline_session_id": "dyno_session",
    "dyno_session_id": "dyno_session",
    "dyno_id": "dyno",
    "attachment_id": "attachment",
}
# A step of a restore is named "flash.12" for control unit 12; a node of a tree "stock-3" or "r12".
_STEP = re.compile(r"([a-z_]+)\.(\d{1,18})")
_NODE = re.compile(r"(stock-|r)(\d{1,18})")


@dataclass(slots=True)
class Ids:
    """Table → id at the source → id here."""

    new: dict[str, dict[int, int]] = field(default_factory=dict)

    def add(self, table: str, old: int, new: int) -> None:
        self.new.setdefault(table, {})[old] = new

    def of(self, table: str, old: Any) -> Any:
        """The id here, None for a row that did not come along."""
        return self.new.get(table, {}).get(old)

    def columns_of(self, table: type[Base], values: Mapping[str, Any]) -> dict[str, Any]:
        """Values of a row with its foreign keys turned; what did not come along becomes None where that may be."""
        turned = dict(values)
        for one in columns(table).values():
            column = one.columns[0]
            for key in column.foreign_keys:
                target = key.column.table.name
                old = values[one.key]
                if old is None or target == "content":
                    continue
                found = self.of(target, old)
                if found is None and not column.nullable:
                    raise Damaged(f"A row of {table.__tablename__} points at {target} {old}, which the bag lacks.")
                turned[one.key] = found
        return turned

    def json(self, value: Any, *, evidence: bool = False) -> Any:
        """A JSON value with the ids turned that it names by the usual keys.

        In `evidence`, names of steps are turned too, and a row that did not come along is Damaged; elsewhere it
        becomes None.
        """
        if isinstance(value, dict):
            return {key: self._named(key, inner, evidence) for key, inner in value.items()}
        if isinstance(value, list):
            return [self.json(inner, evidence=evidence) for inner in value]
        return self.step(value) if evidence and isinstance(value, str) else value

    def step(self, text: str) -> str:
        """ "flash.12" with the control unit's id here; any other text as it is."""
        found = _STEP.fullmatch(text)
        unit_id = None if found is None else self.of("control_unit", int(found[2]))
        return text if found is None or unit_id is None else f"{found[1]}.{unit_id}"

    def node(self, text: str) -> str:
        """ "stock-3" or "r12" with the id here; any other text as it is."""
        found = _NODE.fullmatch(text)
        new = None if found is None else self.of("stock" if found[1] == "stock-" else "revision", int(found[2]))
        return text if found is None or new is None else f"{found[1]}{new}"

    def _named(self, key: str, value: Any, evidence: bool) -> Any:
        table = NAMED.get(key) or NAMED.get(key.removesuffix("s") if key.endswith("_ids") else "")
        if table is not None and isinstance(value, list) and all(isinstance(one, int) for one in value):
            return [new for one in value if (new := self._one(table, one, evidence)) is not None]
        if table is not None and isinstance(value, int) and not isinstance(value, bool):
            return self._one(table, value, evidence)
        if key == "key" and isinstance(value, str):
            return self.step(value)
        return self.json(value, evidence=evidence)

    def _one(self, table: str, old: int, evidence: bool) -> Any:
        new = self.of(table, old)
        if new is None and evidence:
            raise Damaged(f"Evidence in the bag names {table} {old}, which the bag lacks.")
        return new
