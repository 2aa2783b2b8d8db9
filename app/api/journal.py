"""The journal as JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from sqlalchemy.orm import Session

from app.api.model import ApiOut, Time
from app.api.paging import Cursor, Limit, ListPage, cut, decode_number, encode_cursor
from app.errors import NotFound
from app.record import journal
from app.record.verify import verify
from app.web.anchor import read_anchor
from app.web.journal_filter import AskedFor
from app.web.page import view_of
from app.web.signed_in import Manager, Viewer
from app.web.transaction import Read

router = APIRouter(prefix="/journal", tags=["journal"])


class EntryOut(ApiOut):
    seq: int
    at: Time
    person: str
    action: str
    sentence: str
    vehicle_id: int | None
    subject: list[int | str] | None
    hash: str
    facts: dict[str, Any]


class VerificationOut(ApiOut):
    clean: bool
    sentence: str
    entries: int
    rows: int
    stored_files: int
    head: str
    findings: list[str]


def entry_out(entry: journal.EntryView) -> EntryOut:
    return EntryOut(
        seq=entry.seq,
        at=entry.at,
        person=entry.person,
        action=entry.action,
        sentence=entry.sentence,
        vehicle_id=entry.vehicle_id,
        subject=None if entry.subject is None else list(entry.subject),
        hash=entry.hash,
        facts=entry.facts,
    )


@router.get("")
def entries(
    request: Request,
    session: Read,
    person: Viewer,
    asked: AskedFor,
    limit: Limit = 50,
    cursor: Cursor = None,
    before: Annotated[int | None, Query(description="Only entries with a lower number.")] = None,
) -> ListPage[EntryOut]:
    """Entries, newest first; days are the workshop's."""
    wanted = asked.read(view_of(request, session, person).zone)
    start = before if cursor is None else decode_number(cursor)
    found = journal.page(session, before=start, limit=limit + 1, wanted=wanted)
    rows, following = cut(found, limit, lambda entry: encode_cursor(entry.seq))
    return ListPage(items=[entry_out(entry) for entry in rows], next_cursor=following)


@router.get("/{seq:int}")
def entry(seq: int, session: Read, _person: Viewer) -> EntryOut:
    """One entry."""
    found = journal.entry_at(session, seq)
    if found is None:
        raise NotFound(f"The journal has no entry {seq}.")
    return entry_out(found)


@router.get("/verify")
def verification(
    session: Read,
    _person: Manager,
    anchor: list[str] = Query([], max_length=50, description="Printed heads, like 12-0123456789abcdef."),
) -> VerificationOut:
    """Walk the whole chain, every row and every stored file; this takes as long as the record is large."""
    return verification_out(session, anchor)


def verification_out(session: Session, anchors: list[str]) -> VerificationOut:
    found = verify(session, anchors=[read_anchor(text) for text in anchors])
    return VerificationOut(
        clean=found.clean,
        sentence=found.sentence,
        entries=found.entries,
        rows=found.rows,
        stored_files=found.blobs,
        head=found.head.short,
        findings=list(found.findings),
    )
