"""The journal: what happened, newest first, and whether it still holds."""

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.errors import BadInput, NotFound
from app.record import car_state, journal, people
from app.web.journal_filter import AskedFor, JournalFilter
from app.web.page import render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(prefix="/journal")

_ROWS = 50


@dataclass(frozen=True, slots=True)
class JournalPage:
    """A part of the journal. filters, query: what is asked for, as typed and as an address; car: the one car whose
    entries are shown; filtered: whether anything is asked for."""

    entries: tuple[journal.EntryView, ...]
    filters: JournalFilter
    query: str
    filtered: bool
    car: str
    persons: tuple[tuple[str, str], ...]
    acts: tuple[tuple[str, str], ...]
    errors: dict[str, str]
    sentence: str
    cars: dict[int, str]
    older: str | None
    newest: bool
    head: str
    may_verify: bool


@dataclass(frozen=True, slots=True)
class EntryPage:
    entry: journal.EntryView
    car: str | None
    previous: int | None
    following: int | None


@router.get("")
def show(request: Request, session: Read, person: Viewer, asked: AskedFor, before: int | None = None) -> HTMLResponse:
    rows, errors, sentence, status, vehicle_id = [], {}, "", 200, None
    try:
        wanted = asked.read(view_of(request, session, person).zone)
        vehicle_id = wanted.vehicle_id
        rows = journal.page(session, before=before, limit=_ROWS + 1, wanted=wanted)
    except BadInput as error:
        errors, sentence, status = {error.field or "from": error.sentence}, error.sentence, error.status
    cars = car_state.labels(session, {one for one in (vehicle_id, *(row.vehicle_id for row in rows)) if one})
    older = urlencode({"before": rows[_ROWS - 1].seq}) if len(rows) > _ROWS else None
    page = JournalPage(
        entries=tuple(rows[:_ROWS]),
        filters=asked,
        query=asked.query,
        filtered=bool(asked.query),
        car=cars.get(vehicle_id or 0, ""),
        persons=(*((str(key), name) for key, name in people.names(session).items()), ("program", "the program")),
        acts=tuple((one, one) for one in journal.actions(session)),
        errors=errors,
        sentence=sentence,
        cars=cars,
        older=None if older is None else f"/journal?{asked.query}{'&' if asked.query else ''}{older}",
        newest=before is None,
        head=journal.head(session).short,
        may_verify=person.role == "manager",
    )
    return render(request, "journal/page.html", page, session=session, person=person, title="Journal", status=status)


@router.get("/{seq:int}")
def show_entry(request: Request, seq: int, session: Read, person: Viewer) -> HTMLResponse:
    entry = _entry(session, seq)
    cars = car_state.labels(session, [] if entry.vehicle_id is None else [entry.vehicle_id])
    page = EntryPage(
        entry,
        cars.get(entry.vehicle_id or 0),
        seq - 1 if seq > 1 else None,
        seq + 1 if _is_older(session, seq) else None,
    )
    return render(request, "journal/entry.html", page, session=session, person=person, title=f"Journal entry {seq}")


def _entry(session: Session, seq: int) -> journal.EntryView:
    entry = journal.entry_at(session, seq)
    if entry is None:
        raise NotFound(f"The journal has no entry {seq}.")
    return entry


def _is_older(session: Session, seq: int) -> bool:
    return seq < journal.head(session).seq
