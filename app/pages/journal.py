"""The journal: what happened, newest first, and whether it still holds."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record import car_state, journal
from app.web.page import render
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(prefix="/journal")

_ROWS = 50


@dataclass(frozen=True, slots=True)
class JournalPage:
    entries: tuple[journal.EntryView, ...]
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
def show(request: Request, session: Read, person: Viewer, before: int | None = None) -> HTMLResponse:
    rows = journal.page(session, before=before, limit=_ROWS + 1)
    older = f"/journal?before={rows[_ROWS - 1].seq}" if len(rows) > _ROWS else None
    page = JournalPage(
        tuple(rows[:_ROWS]),
        car_state.labels(session, {row.vehicle_id for row in rows if row.vehicle_id is not None}),
        older,
        before is None,
        journal.head(session).short,
        person.role == "manager",
    )
    return render(request, "journal/page.html", page, session=session, person=person, title="Journal")


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
