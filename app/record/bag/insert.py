"""Write a checked record into this database: new ids, the history entry by entry in its old order."""

import datetime as dt
import json
from collections import defaultdict
from collections.abc import Callable
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from app.errors import Damaged
from app.record import content, journal, layouts, people
from app.record.bag.document import Entry, VehicleRecord
from app.record.bag.remap import Ids
from app.record.bag.row_json import values_from_json
from app.record.bag.scope import CLASSES, IN_ORDER, SHARED
from app.record.base import Evidence
from app.record.search import search_text
from app.record.tables import Customer, Dyno, Layout, Person, Vehicle

Fetch = Callable[[str], bytes]
# Rows that name others inside JSON, also of their own entry; nothing points at them.
_LAST = frozenset({"restore_step", "package_return"})
_SHARED = frozenset(str(kind.__tablename__) for kind in SHARED)


class Taking:
    """One take-in: what came before has its ids here already."""

    def __init__(self, session: Session, record: VehicleRecord, person: Person | None, at: dt.datetime) -> None:
        self.session, self.record, self.person, self.at = session, record, person, at
        self.ids = Ids()
        self._by_entry: dict[int, list[tuple[str, dict[str, Any]]]] = defaultdict(list)

    def begin(self, fetch: Fetch) -> Vehicle:
        """Files, people, and every row that is no evidence of this vehicle; returns the vehicle."""
        self._take_files(fetch)
        self._take_people()
        ours = {entry.seq for entry in self.record.journal}
        for name in IN_ORDER:
            kind = CLASSES[name]
            for row in self.record.rows(name):
                values = values_from_json(kind, row)
                if issubclass(kind, Evidence) and name not in _SHARED and values["entry_seq"] in ours:
                    self._by_entry[values["entry_seq"]].append((name, values))
                else:
                    self._add(name, values)
        vehicle = self.session.get_one(Vehicle, self.ids.of("vehicle", self.record.vehicle_id))
        owner = None if vehicle.customer_id is None else self.session.get(Customer, vehicle.customer_id)
        vehicle.search_text = search_text(vehicle, owner)
        vehicle.pinned = False
        return vehicle

    def replay(self, entry: Entry) -> bool:
        """The rows of one entry of the source and an entry that says what it said; False for one that says nothing of
        this vehicle."""
        rows = self._by_entry.pop(entry.seq, [])
        if not rows and entry.vehicle_id != self.record.vehicle_id:
            return False
        for name, values in sorted(rows, key=lambda row: row[0] in _LAST):
            self._add(name, values)
        body = json.loads(entry.body)
        subject = None if body["subject"] is None else self._subject(*body["subject"])
        journal.append(
            self.session,
            at=self.at,
            person=self.person,
            action=entry.action,
            sentence=body["sentence"],
            vehicle_id=self.ids.of("vehicle", self.record.vehicle_id),
            subject=subject,
            facts={**self.ids.json(body["facts"]), "taken_in": _origin(entry, body)},
        )
        return True

    def _subject(self, kind: str, key: Any) -> tuple[str, int | str] | None:
        new = self.ids.of(kind, key)
        return None if new is None else (kind, new)

    def _take_files(self, fetch: Fetch) -> None:
        bases = self._bases()

        def put(digest: str, above: frozenset[str]) -> None:
            base = bases.get(digest)
            if base is not None and base not in above and not content.exists(self.session, base):
                put(base, above | {digest})
            if content.put(self.session, fetch(digest), at=self.at, base=base) != digest:
                raise Damaged(f"The file {digest[:16]}… of the bag holds other bytes.")

        for digest in self.record.content:
            if not content.exists(self.session, digest):
                put(digest, frozenset())

    def _bases(self) -> dict[str, str]:
        """Image → the image that it was made from, so that its difference can be kept."""
        held = set(self.record.content)
        images = {row["id"]: row["sha256"] for row in self.record.rows("revision")}
        stocks = {row["id"]: row["sha256"] for row in self.record.rows("stock")}
        bases: dict[str, str] = {}
        for row in self.record.rows("revision"):
            base = images.get(row["parent_id"]) or stocks.get(row["stock_id"])
            if row["sha256"] in held and base in held and base != row["sha256"]:
                bases.setdefault(row["sha256"], base)
        return bases

    def _take_people(self) -> None:
        """Who did it there is named here, but is no person who may sign in."""
        for old, name in sorted(self.record.people.items()):
            here = _marked(name, self.record.workshop, 64)
            known = people.by_name(self.session, here)
            if known is None:
                known = people.add(self.session, name=here, role="tuner", password_hash=None, at=self.at)
                known.active = False
                self.session.flush()
            self.ids.add("person", old, known.id)

    def _add(self, name: str, values: dict[str, Any]) -> None:
        kind = CLASSES[name]
        key = str(inspect(kind).primary_key[0].name)
        old = values[key]
        known = self._known(name, values)
        if known is None:
            turned = self.ids.columns_of(kind, self._renamed(name, values))
            del turned[key]
            turned.pop("entry_seq", None)
            row = kind(**{k: self._json(name, k, v) for k, v in turned.items()})
            self.session.add(row)
            self.session.flush()
            known = inspect(kind).primary_key_from_instance(row)[0]
        self.ids.add(name, old, known)

    def _json(self, table: str, attribute: str, value: Any) -> Any:
        if table == "restore_step" and attribute == "key":
            return self.ids.step(value)
        if table == "revision" and attribute == "port_report" and value is not None:
            target = value.get("target")
            return {**value, "target": self.ids.node(target)} if isinstance(target, str) else value
        if table in ("restore", "restore_step") and isinstance(value, (dict, list)):
            return self.ids.json(value, evidence=True)
        if attribute == "attachment_ids":
            return self.ids.json({attribute: value}, evidence=True)[attribute]
        return value

    def _known(self, name: str, values: dict[str, Any]) -> int | None:
        """The row here that is the same thing: a layout of the same content, a dyno taken in before."""
        if name == "layout":
            query = select(Layout.id).where(Layout.sha256 == values["sha256"]).order_by(Layout.id.desc()).limit(1)
            return self.session.scalar(query)
        if name == "dyno":
            marked = _marked(values["name"], self.record.workshop, 80)
            return self.session.scalar(select(Dyno.id).where(Dyno.name == marked))
        return None

    def _renamed(self, name: str, values: dict[str, Any]) -> dict[str, Any]:
        """Names that are unique in a workshop say which workshop they come from."""
        if name == "dyno":
            return values | {"name": _marked(values["name"], self.record.workshop, 80)}
        if name == "layout":
            marked = _marked(values["name"], self.record.workshop, 120)
            return values | {"name": marked, "version": layouts.next_version(self.session, marked)}
        return values


def _marked(name: str, workshop: str, longest: int) -> str:
    mark = f" ({workshop})"[: longest // 2]
    return " ".join((name[: longest - len(mark)] + mark).split())


def _origin(entry: Entry, body: dict[str, Any]) -> dict[str, Any]:
    person = body["person"]
    return {
        "seq": entry.seq,
        "at": entry.at,
        "hash": entry.hash,
        "person": "the program" if person is None else str(person["name"]),
    }
