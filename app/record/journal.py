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

import rfc8785
from sqlalchemy import event, select, text
from sqlalchemy.orm import Session

from app.record.row_hash import canonical, is_append_only, row_hash, row_key
from app.record.tables import Base, JournalEntry, Person

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


@event.listens_for(Session, "before_flush")
def _collect_new_rows(session: Session, _context: Any, _instances: Any) -> None:
    rows = session.info.setdefault("new_rows", [])
    rows.extend(row for row in session.new if isinstance(row, Base) and is_append_only(row))


@event.listens_for(Session, "after_rollback")
def _forget_new_rows(session: Session) -> None:
    session.info.pop("new_rows", None)


def link(previous_hash: str, body: str) -> str:
    """Hash of an entry: SHA-256(previous hash ‖ SHA-256(body))."""
    inner = hashlib.sha256(b"\x00" + body.encode()).digest()
    return hashlib.sha256(b"\x01" + bytes.fromhex(previous_hash) + inner).hexdigest()


def head(session: Session) -> Head:
    row = session.execute(
        select(JournalEntry.seq, JournalEntry.hash).order_by(JournalEntry.seq.desc()).limit(1)
    ).first()
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
    """Write the entry of the act that this session holds; call it last, once.

    `sentence` never carries a customer's name or contact, so that erasing personal data leaves the chain whole.
    """
    session.flush()
    new_rows: Sequence[Base] = session.info.pop("new_rows", [])
    if session.get_bind().dialect.name == "postgresql":
        # Two writers must not both read the same head; SQLite's BEGIN IMMEDIATE already orders them.
        session.execute(text("SELECT pg_advisory_xact_lock(7461)"))
    last = head(session)
    content = {
        "seq": last.seq + 1,
        "at": at,
        "person": None if person is None else {"id": person.id, "name": person.name, "role": person.role},
        "action": action,
        "sentence": sentence,
        "vehicle_id": vehicle_id,
        "subject": None if subject is None else list(subject),
        "facts": facts or {},
        "rows": [[type(row).__tablename__, row_key(row), row_hash(row)] for row in new_rows],
    }
    body = rfc8785.dumps(canonical(content)).decode()
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
    return entry


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


def page(
    session: Session, *, before: int | None = None, limit: int = 50, vehicle_id: int | None = None
) -> list[EntryView]:
    """Entries newest first, those with a number below `before`."""
    query = select(JournalEntry).order_by(JournalEntry.seq.desc()).limit(limit)
    if before is not None:
        query = query.where(JournalEntry.seq < before)
    if vehicle_id is not None:
        query = query.where(JournalEntry.vehicle_id == vehicle_id)
    return [view(entry) for entry in session.scalars(query)]


def entry_at(session: Session, seq: int) -> EntryView | None:
    entry = session.get(JournalEntry, seq)
    return None if entry is None else view(entry)
