"""Dyno files that belong to no session yet."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.add_inbox_item import add_inbox_item
from app.actions.add_runs import NewRuns, add_runs
from app.actions.put_back_file import put_back_file
from app.calc.dyno.channel_names import channel_label
from app.calc.number_text import counted
from app.errors import AppError, BadInput
from app.pages.dyno.profile import read_file
from app.readers.dyno_file import read_dyno_file
from app.record import content, dyno, inbox
from app.record.car_state import vehicle_label
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, read_choice, see_other
from app.web.now import Now
from app.web.page import render, view_of, when, writing_as
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Uploads, read_upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class InboxRow:
    id: int
    file_name: str
    at: dt.datetime
    summary: str
    suggestion: str


@dataclass(frozen=True, slots=True)
class GivenRow:
    """A file that was given to a dyno session lately."""

    id: int
    file_name: str
    to: str
    href: str
    at: dt.datetime


@dataclass(frozen=True, slots=True)
class InboxPage:
    """errors : sentences under the ids of their fields."""

    rows: tuple[InboxRow, ...]
    may_tune: bool
    sessions: tuple[tuple[str, str, dt.datetime, str], ...]
    given: tuple[GivenRow, ...]
    errors: dict[str, str]
    sentence: str


class InboxForm(FormModel):
    files: Uploads = Field(default_factory=list)


class TakeForm(FormModel):
    session_id: str = ""


_GIVEN_SHOWN = 5


def _given(session: Session) -> tuple[GivenRow, ...]:
    return tuple(
        GivenRow(
            one.item.id,
            one.item.file_name,
            f"{vehicle_label(one.vehicle)}, {when(one.dyno_session.measured_at)}",
            f"/dyno-sessions/{one.dyno_session.id}#pulls",
            one.at,
        )
        for one in inbox.given_lately(session, _GIVEN_SHOWN)
    )


def _inbox(
    session: Session, person: Person, error: AppError | None = None, at: str = "files", chosen: str = ""
) -> InboxPage:
    """The page; `at` is the id of the field that `error` is about, `chosen` the session that was refused there."""
    recent = dyno.recent_sessions(session, 20)
    on_car = dyno.on_car_words(session, [row.id for row, _ in recent])
    rows = []
    for item in inbox.waiting(session):
        near = min(recent, key=lambda pair: abs(pair[0].measured_at - item.recorded_at), default=None)
        pulls = item.summary["pulls"]
        known = ", ".join(channel_label(name) for name in item.summary["channels"][:8])
        rows.append(
            InboxRow(
                item.id,
                item.file_name,
                item.recorded_at,
                f"{counted(pulls, 'pull')}; {known}",
                chosen if at == f"session-{item.id}" and chosen else "" if near is None else str(near[0].id),
            )
        )
    choices = tuple((str(row.id), vehicle_label(car), row.measured_at, on_car[row.id]) for row, car in recent)
    return InboxPage(
        tuple(rows),
        person.role != "front_desk",
        choices,
        _given(session),
        {} if error is None else {at: error.sentence},
        "" if error is None else str(error),
    )


@router.get("/inbox")
def show_inbox(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = _inbox(session, person)
    return render(request, "dyno/inbox.html", page, session=session, person=person, title="Inbox")


def _refused(
    request: Request, session: Session, person: Person, error: AppError, at: str = "files", chosen: str = ""
) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = _inbox(session, person, error, at, chosen)
    return render(request, "dyno/inbox.html", page, session=session, person=person, title="Inbox", status=error.status)


@router.post("/inbox", max_body_size=UPLOAD_LIMIT)
def take_into_inbox(
    request: Request,
    form: Annotated[InboxForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        if not form.files:
            raise BadInput("Choose at least one file.", field="files")
        with session.begin_nested():
            for file in form.files:
                data, label = read_upload(file, field="files")
                add_inbox_item(
                    session,
                    person=person,
                    at=now,
                    uploaded=data,
                    file_name=label,
                    found=read_dyno_file(data),
                    recorded_at=now,
                )
    except AppError as error:
        return _refused(request, session, person, error)
    return see_other(request, session, "/inbox", once)


@router.post("/inbox/{item_id:int}/take")
def take_from_inbox(
    request: Request,
    item_id: int,
    form: Annotated[TakeForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    item = inbox.item(session, item_id)
    try:
        chosen = read_choice(
            form.session_id, field="session_id", sentence="Choose the session that the file belongs to."
        )
        row = dyno.dyno_session(session, chosen)
        data = content.fetch(session, item.sha256)
        with session.begin_nested():
            add_runs(
                session,
                person=person,
                at=now,
                dyno_session_id=row.id,
                uploaded=data,
                file_name=item.file_name,
                runs=NewRuns.of_file(read_file(session, row.dyno_id, data)),
                inbox_item_id=item.id,
            )
    except AppError as error:
        return _refused(request, session, person, error, f"session-{item_id}", form.session_id)
    return see_other(request, session, f"/dyno-sessions/{row.id}#pulls", once)


@router.post("/inbox/{item_id:int}/put-back")
def put_back(
    request: Request,
    item_id: int,
    _form: Annotated[FormModel, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    """Takes a file away from the session that it was given to by mistake."""
    put_back_file(session, person=person, at=now, item_id=item_id)
    return see_other(request, session, f"/inbox#item-{item_id}", once)
