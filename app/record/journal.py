"""The journal: one entry per act, written in the act's own transaction, chained by SHA-256.

Entry n's hash covers the RFC 8785 JSON of its content and the hash of entry n−1. An entry lists the rows that its
act added, each with its hash. The head is printed on certificates and reports: without a copy outside the database
no chain proves anything against whoever owns the file.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, event, select, text
from sqlalchemy.orm import Session

from app.record import vehicles
from app.record.base import Evidence
from app.record.row_hash import canonical_json, is_append_only, row_hash, row_key
from app.record.tables import Base, JournalEntry, Person, Vehicle

GENESIS = hashlib.sha256(b"revledger journal 1").hexdigest()


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry's number and hash; (0, GENESIS) for an empty journal."""

    seq: int
    hash: str

    @property
    def short(self) -> str:
        """What is printed: number and the first 16 hex digits."""
        return f"{self.seq}-{self.hash[:16]}"


@dataclass(frozen=True, slots=True)
class _Last:
    """The entry that the next one follows."""

    seq: int
    hash: str
    at: dt.datetime | None


_NEWEST = select(JournalEntry.seq, JournalEntry.hash, JournalEntry.at).order_by(JournalEntry.seq.desc()).limit(1)


@event.listens_for(Session, "before_flush")
def _collect_new_rows(session: Session, _context: Any, _instances: Any) -> None:
    added = [row for row in session.new if isinstance(row, Base) and is_append_only(row)]
    evidence = [row for row in added if isinstance(row, Evidence)]
    if evidence:
        number = _last(session).seq + 1
        for row in evidence:
            row.entry_seq = number
    session.info.setdefault("new_rows", []).extend(added)


@event.listens_for(Session, "after_rollback")
def _forget_new_rows(session: Session) -> None:
    session.info.pop("new_rows", None)
    session.info.pop("last", None)


@event.listens_for(Session, "after_commit")
def _forget_head(session: Session) -> None:
    session.info.pop("last", None)


def _last(session: Session) -> _Last:
    """The last entry, asked once per act; nobody else can add one until this transaction ends."""
    if "last" not in session.info:
        if session.get_bind().dialect.name == "postgresql":
            # Two writers must not both read the same head; SQLite's BEGIN IMMEDIATE already orders them.
            session.execute(text("SELECT pg_advisory_xact_lock(7461)"))
        row = session.execute(_NEWEST).first()
        session.info["last"] = _Last(0, GENESIS, None) if row is None else _Last(row.seq, row.hash, row.at)
    last: _Last = session.info["last"]
    return last


def link(previous_hash: str, body: str) -> str:
    """Hash of an entry: SHA-256(previous hash ‖ SHA-256(body))."""
    inner = hashlib.sha256(b"\x00" + body.encode()).digest()
    return hashlib.sha256(b"\x01" + bytes.fromhex(previous_hash) + inner).hexdigest()


def head(session: Session) -> Head:
    row = session.execute(_NEWEST).first()
    return Head(row.seq, row.hash) if row else Head(0, GENESIS)


def append(
    session: Session,
    *,
    at: dt.datetime,
    person: Person | None,
    action: str,
    sentence: str,
    vehicle_id: int | None = None,
    subject: tuple[str, int | str] | None = None,
    facts: dict[str, Any] | None = None,
) -> JournalEntry:
    """Write the entry of the act that the database session holds; call it last, once.

    `sentence` never carries a customer's name or contact, so that erasing personal data leaves the chain whole.
    """
    session.flush()
    new_rows: Sequence[Base] = session.info.pop("new_rows", [])
    last = _last(session)
    content = {
        "seq": last.seq + 1,
        "at": at,
        "person": None if person is None else {"id": person.id, "name": person.name, "role": person.role},
        "action": action,
        "sentence": sentence,
        "vehicle_id": vehicle_id,
        "subject": None if subject is None else list(subject),
        "facts": {**(facts or {}), **_clock(last, at)},
        "rows": [[type(row).__tablename__, row_key(row), row_hash(row)] for row in new_rows],
    }
    body = canonical_json(content).decode()
    entry = JournalEntry(
        seq=last.seq + 1,
        at=at,
        action=action,
        person_id=None if person is None else person.id,
        vehicle_id=vehicle_id,
        body=body,
        previous_hash=last.hash,
        hash=link(last.hash, body),
    )
    session.add(entry)
    session.flush()
    session.info.pop("new_rows", None)
    session.info["last"] = _Last(entry.seq, entry.hash, at)
    return entry


def _clock(last: _Last, at: dt.datetime) -> dict[str, float]:
    """A clock that went back is noted; the order of entries does not depend on it."""
    if last.at is None or at >= last.at:
        return {}
    return {"clock_went_back_s": (last.at - at).total_seconds()}


@dataclass(frozen=True, slots=True)
class EntryView:
    """A journal entry as people read it."""

    seq: int
    at: dt.datetime
    person: str
    action: str
    sentence: str
    vehicle_id: int | None
    subject: tuple[str, int | str] | None
    hash: str
    facts: dict[str, Any]


def view(entry: JournalEntry) -> EntryView:
    body = json.loads(entry.body)
    person = body["person"]
    return EntryView(
        seq=entry.seq,
        at=entry.at,
        person="the program" if person is None else person["name"],
        action=entry.action,
        sentence=body["sentence"],
        vehicle_id=entry.vehicle_id,
        subject=None if body["subject"] is None else (body["subject"][0], body["subject"][1]),
        hash=entry.hash,
        facts=body["facts"],
    )


PROGRAM = 0
# The act by which a person changes what only that person sees; the journal can be asked for without it.
CHANGE_PREFERENCES = "change preferences"


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which entries are wanted; None or empty is no condition.

    person_id : `PROGRAM` for what no person did. car : words that are looked for as in the search for cars.
    since, until : from the one, before the other. preferences : whether how people changed their own colours and units
    counts in.
    """

    person_id: int | None = None
    vehicle_id: int | None = None
    car: str = ""
    action: str = ""
    since: dt.datetime | None = None
    until: dt.datetime | None = None
    preferences: bool = True


EVERYTHING = Wanted()


def page(
    session: Session, *, before: int | None = None, limit: int | None = 50, wanted: Wanted = EVERYTHING
) -> list[EntryView]:
    """Entries newest first, those with a number below `before`."""
    query = select(JournalEntry).order_by(JournalEntry.seq.desc()).limit(limit)
    if before is not None:
        query = query.where(JournalEntry.seq < before)
    return [view(entry) for entry in session.scalars(query.where(*_conditions(session, wanted)))]


def _conditions(session: Session, wanted: Wanted) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if wanted.person_id is not None:
        by = JournalEntry.person_id
        found.append(by.is_(None) if wanted.person_id == PROGRAM else by == wanted.person_id)
    if wanted.vehicle_id is not None:
        found.append(JournalEntry.vehicle_id == wanted.vehicle_id)
    if wanted.car:
        cars = vehicles.matching(session.get_bind().dialect.name, wanted.car)
        found.append(JournalEntry.vehicle_id.in_(cars.with_only_columns(Vehicle.id).order_by(None)))
    if wanted.action:
        found.append(JournalEntry.action == wanted.action)
    if wanted.since is not None:
        found.append(JournalEntry.at >= wanted.since)
    if wanted.until is not None:
        found.append(JournalEntry.at < wanted.until)
    if not wanted.preferences:
        found.append(JournalEntry.action != CHANGE_PREFERENCES)
    return found


def actions(session: Session) -> list[str]:
    """The kinds of act that the journal tells of, in the order of the alphabet."""
    return list(session.scalars(select(JournalEntry.action).distinct().order_by(JournalEntry.action)))


def entry_at(session: Session, seq: int) -> EntryView | None:
    entry = session.get(JournalEntry, seq)
    return None if entry is None else view(entry)
