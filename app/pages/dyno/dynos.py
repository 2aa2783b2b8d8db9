"""Dynos of the shop: the list, and one dyno over the months."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.add_dyno import add_dyno
from app.actions.confirm_columns import confirm_columns
from app.errors import AppError, BadInput
from app.pages.dyno.dyno_view import dyno_page
from app.pages.dyno.profile import choice_of, rows_of
from app.readers.dyno_file import read_dyno_file
from app.record import dyno
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class DynosPage:
    rows: tuple[tuple[str, str, str, int], ...]
    may_tune: bool
    typed: dict[str, str]
    errors: dict[str, str]
    sentence: str


class DynoForm(FormModel):
    name: str = ""
    note: str = ""


class ColumnsForm(FormModel):
    """Headings and what each was said to hold, in the same order."""

    header: list[str] = Field(default_factory=list, max_length=200)
    choice: list[str] = Field(default_factory=list, max_length=200)


class SampleForm(FormModel):
    file: Upload = None


def _dynos(session: Session, may_tune: bool, form: DynoForm | None = None, error: AppError | None = None) -> DynosPage:
    """The list, and the form as it was typed when that was refused."""
    rows = tuple(
        (f"/dynos/{one.id}", one.name, one.note, len(dyno.session_ids_of_dyno(session, one.id)))
        for one in dyno.dynos(session)
    )
    errors = {} if error is None else {error.field or "name": error.sentence}
    return DynosPage(rows, may_tune, text_of(form or DynoForm()), errors, "" if error is None else error.sentence)


@router.get("/dynos")
def show_dynos(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    page = _dynos(session, person.role != "front_desk")
    return render(request, "dyno/dynos.html", page, session=session, person=person, title="Dynos")


@router.post("/dynos")
def take_dyno(
    request: Request, form: Annotated[DynoForm, Form()], once: OncePerForm, session: Write, person: Tuner, now: Now
) -> Response:
    try:
        with session.begin_nested():
            row = add_dyno(session, person=person, at=now, name=form.name, note=form.note)
    except AppError as error:
        page = _dynos(session, True, form, error)
        return render(
            request, "dyno/dynos.html", page, session=session, person=person, title="Dynos", status=error.status
        )
    return see_other(request, session, f"/dynos/{row.id}", once)


@router.get("/dynos/{dyno_id:int}")
def show_dyno(request: Request, dyno_id: int, session: Read, person: Viewer, car: int | None = None) -> HTMLResponse:
    page = dyno_page(session, dyno_id, person, view_of(request, session, person), car=car)
    return render(request, "dyno/dyno.html", page, session=session, person=person, title=page.name)


@router.post("/dynos/{dyno_id:int}/sample", max_body_size=UPLOAD_LIMIT)
def read_sample(
    request: Request,
    dyno_id: int,
    form: Annotated[SampleForm, Form(media_type="multipart/form-data")],
    session: Read,
    person: Tuner,
) -> HTMLResponse:
    """Shows how a file's columns are understood, to be confirmed; nothing is recorded."""
    view = view_of(request, session, person)
    try:
        data, label = read_upload(form.file, field="file")
        columns = rows_of(_columns(data))
        page = dyno_page(session, dyno_id, person, view, columns=columns, sample=label)
        status = 200
    except AppError as error:
        page, status = dyno_page(session, dyno_id, person, view, sentence=str(error)), error.status
    return render(request, "dyno/dyno.html", page, session=session, person=person, title=page.name, status=status)


def _columns(data: bytes) -> list[dict[str, object]]:
    """The columns of a file; when too few are recognised to read it, as far as they are."""
    try:
        found = read_dyno_file(data).columns
    except BadInput as error:
        if error.field != "columns":
            raise
        return [_unknown(line) for line in error.details]
    return [{"header": c.header, "quantity": c.quantity, "unit": c.unit, "confidence": c.confidence} for c in found]


def _unknown(line: str) -> dict[str, object]:
    """A line of the reader's finding, "Heading: channel (how sure)"."""
    header, _, rest = line.rpartition(": ")
    name = rest.partition(" (")[0]
    return {"header": header, "quantity": None if name == "not recognised" else name, "unit": None, "confidence": rest}


@router.post("/dynos/{dyno_id:int}/columns")
def take_columns(
    request: Request,
    dyno_id: int,
    form: Annotated[ColumnsForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        if len(form.header) != len(form.choice):
            raise BadInput("Each heading needs one choice; load the page again.", field="columns")
        columns = {
            header: {"quantity": choice.quantity, "unit": choice.unit}
            for header, choice in (
                (header, choice_of(text, header)) for header, text in zip(form.header, form.choice, strict=True)
            )
        }
        with session.begin_nested():
            confirm_columns(session, person=person, at=now, dyno_id=dyno_id, columns=columns)
    except AppError as error:
        view = view_of(request, session, person)
        page = dyno_page(session, dyno_id, person, view, sentence=error.sentence)
        return render(
            request, "dyno/dyno.html", page, session=session, person=person, title=page.name, status=error.status
        )
    return see_other(request, session, f"/dynos/{dyno_id}#columns", once)
