"""Walk the journal chain, every row hash, every blob and every comparison; say what is wrong."""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import inspect, select
from sqlalchemy.exc import DBAPIError, NoResultFound
from sqlalchemy.orm import InstrumentedAttribute, Session, undefer

from app.calc.number_text import counted
from app.errors import Damaged, NotFound
from app.record import content
from app.record.journal import GENESIS, Head, link
from app.record.row_hash import canonical, row_hash
from app.record.tables import Base, Content, JournalEntry
from app.record.verify_deltas import check_deltas

T = TypeVar("T", bound=Base)
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Verification:
    """Findings, one sentence each; none means that everything holds."""

    entries: int
    rows: int
    blobs: int
    head: Head
    findings: tuple[str, ...]

    @property
    def clean(self) -> bool:
        return not self.findings

    @property
    def sentence(self) -> str:
        checked = (
            f"{counted(self.entries, 'journal entry', 'journal entries')}, {counted(self.rows, 'row')} and "
            f"{counted(self.blobs, 'stored file')}"
        )
        if self.clean:
            return f"Everything holds: {checked} checked, head {self.head.short}."
        return f"{len(self.findings)} of {checked} {'does' if len(self.findings) == 1 else 'do'} not hold."


def verify(
    session: Session, *, anchors: Iterable[tuple[int, str]] = (), progress: Progress | None = None
) -> Verification:
    """Check the whole record.

    `anchors` are (entry number, first hex digits of its hash) pairs copied from printed sheets: only they can show
    that the tail was cut or the whole chain rewritten.
    """
    findings: list[str] = []
    hashes: dict[int, str] = {}
    rows = blobs = 0
    try:
        expected = _walk_chain(session, hashes, findings)
        findings.extend(_against_anchors(hashes, anchors))
        rows = _check_rows(session, expected, findings, progress)
        blobs = _check_blobs(session, findings, progress)
        check_deltas(session, findings, progress)
    except (ValueError, TypeError):  # what the database gives is not what its schema says
        findings.append("The database cannot be read to the end: it is damaged. Recover it from a backup.")
    last = max(hashes, default=0)
    return Verification(len(hashes), rows, blobs, Head(last, hashes.get(last, GENESIS)), tuple(findings))


def _walk_chain(session: Session, hashes: dict[int, str], findings: list[str]) -> dict[tuple[str, str], str]:
    """(table, key) → hash of every row that the journal speaks of; fills `hashes` with those of the entries."""
    expected: dict[tuple[str, str], str] = {}
    previous, number = GENESIS, 0
    for seq, entry in _each(session, JournalEntry, JournalEntry.seq):
        number += 1
        if seq != number:
            findings.append(f"Journal: entry {number} is missing.")
            number = int(seq)
        if entry is None:
            findings.append(f"Journal: entry {seq} cannot be read.")
            previous = ""
            continue
        if entry.previous_hash != previous or link(entry.previous_hash, entry.body) != entry.hash:
            findings.append(f"Journal: entry {seq} does not follow from the one before it.")
        previous = entry.hash
        hashes[entry.seq] = entry.hash
        try:
            body = json.loads(entry.body)
            if _columns(entry) != _told(body):
                findings.append(f"Journal: the columns of entry {seq} differ from its content.")
            for table, key, digest in body["rows"]:
                expected[(table, str(key))] = digest
        except (ValueError, KeyError, TypeError):
            findings.append(f"Journal: the content of entry {seq} cannot be read.")
    return expected


def _columns(entry: JournalEntry) -> tuple[Any, ...]:
    return (entry.seq, canonical(entry.at), entry.action, entry.person_id, entry.vehicle_id)


def _told(body: dict[str, Any]) -> tuple[Any, ...]:
    person = body["person"]
    return (body["seq"], body["at"], body["action"], None if person is None else person["id"], body["vehicle_id"])


def _each(session: Session, table: type[T], key: InstrumentedAttribute[Any]) -> Iterator[tuple[Any, T | None]]:
    """(key, row); None for a row that the database or the types of its columns refuse to give.

    Only the journal is asked for in order: its key is the table's own order. An order by another key would be
    taken from that key's index, and a damaged key in the row itself would go unseen.
    """
    options = [undefer(Content.data)] if table is Content else []
    query = select(table).options(*options)
    ordered = query.order_by(key) if table is JournalEntry else query
    known: set[Any] = set()
    try:
        for row in session.scalars(ordered.execution_options(yield_per=50)):
            if row is None:
                raise ValueError("a row without a key")
            known.add(getattr(row, key.key))
            yield getattr(row, key.key), row
            if row in session:  # a damaged key may give the same row twice
                session.expunge(row)
        return
    except (DBAPIError, ValueError, TypeError):
        session.expunge_all()
    for value in session.scalars(select(key).order_by(key)).all():
        if value in known:
            continue
        try:
            row = session.scalars(query.where(key == value)).one()
        except (DBAPIError, NoResultFound, ValueError, TypeError):
            yield value, None
            continue
        yield value, row
        session.expunge_all()


def _against_anchors(hashes: dict[int, str], anchors: Iterable[tuple[int, str]]) -> list[str]:
    return [
        f"Journal: entry {seq} is missing or differs from the printed head {seq}-{start}."
        for seq, start in anchors
        if not (hashes.get(seq, "") if seq else GENESIS).startswith(start)
    ]


def _append_only_classes() -> list[type[Base]]:
    classes = [mapper.class_ for mapper in Base.registry.mappers]
    return sorted(
        (c for c in classes if getattr(c, "append_only", False) and c is not JournalEntry),
        key=lambda c: str(c.__tablename__),
    )


def _check_rows(
    session: Session, expected: dict[tuple[str, str], str], findings: list[str], progress: Progress | None
) -> int:
    count, total = 0, len(expected)
    for table in _append_only_classes():
        name = str(table.__tablename__)
        mapper = inspect(table)
        key_column = getattr(table, mapper.get_property_by_column(mapper.primary_key[0]).key)
        for key, row in _each(session, table, key_column):
            wanted = expected.pop((name, str(key)), None)
            count += 1
            if wanted is None:
                findings.append(f"{name} {key}: this row is in no journal entry.")
            elif row is None or _hash(row) != wanted:
                findings.append(f"{name} {key}: the row differs from what the journal recorded.")
            if progress is not None and count % 100 == 0:
                progress("rows", count, total)
    findings.extend(f"{name} {key}: the journal speaks of this row, but it is gone." for name, key in expected)
    return count


def _hash(row: Base) -> str | None:
    """The row's hash; None when a value in it has no canonical form, which nothing written here has."""
    try:
        return row_hash(row)
    except (ValueError, TypeError):
        return None


def _check_blobs(session: Session, findings: list[str], progress: Progress | None) -> int:
    digests = list(session.scalars(select(Content.sha256)))
    for number, digest in enumerate(digests, 1):
        try:
            content.fetch(session, digest)
        except Damaged as error:
            findings.append(error.sentence)
        except (DBAPIError, NotFound):
            findings.append(f"The stored file {digest[:16]}… cannot be read from the database.")
        if progress is not None and number % 20 == 0:
            progress("stored files", number, len(digests))
    return len(digests)
