"""Layouts: upload, look through, download our table's template."""

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_layout import add_layout
from app.calc.number_text import counted
from app.errors import AppError
from app.pages.layouts.views import Filter, LayoutsPage, layout_page, layout_row
from app.readers.layout import read_layout
from app.readers.layout_csv import layout_csv_template
from app.record import layouts, people
from app.record.engine import transaction
from app.web import work
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(prefix="/layouts")
# Above this a file takes more than a second to read.
LARGE = 4 << 20


class LayoutForm(FormModel):
    file: Upload = None
    name: str = ""
    software_number: str = ""
    legacy_byte_order: str = ""


def _list(session: Session, form: LayoutForm, error: AppError | None, *, ask: bool = False) -> LayoutsPage:
    return LayoutsPage(
        tuple(layout_row(row) for row in layouts.newest(session)),
        form.name,
        form.software_number,
        "" if error is None else str(error),
        ask or (error is not None and error.field == "legacy_byte_order"),
    )


@router.get("")
def show_list(request: Request, session: Read, person: Viewer, ask: str = "") -> HTMLResponse:
    page = _list(session, LayoutForm(), None, ask=ask == "byte-order")
    return render(request, "layouts/list.html", page, session=session, person=person, title="Layouts")


@router.post("", max_body_size=UPLOAD_LIMIT)
def take(
    request: Request,
    form: Annotated[LayoutForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        data, label = read_upload(form.file, field="file")
        if len(data) > LARGE:
            key = _read_in_the_background(request, person.id, form, data, label)
            return see_other(request, session, f"/work/{key}", once)
        found = read_layout(data, legacy_byte_order=form.legacy_byte_order or None)
        with session.begin_nested():
            row = add_layout(
                session,
                person=person,
                at=now,
                name=form.name or found.layout.name,
                definitions=found.layout,
                source=found.source,
                software_number=form.software_number,
                uploaded=data,
                file_name=label,
                findings=found.findings,
            )
    except AppError as error:
        page = _list(session, form, error)
        return render(
            request, "layouts/list.html", page, session=session, person=person, title="Layouts", status=error.status
        )
    return see_other(request, session, f"/layouts/{row.id}", once)


def _read_in_the_background(request: Request, person_id: int, form: LayoutForm, data: bytes, label: str) -> str:
    """A large description takes seconds: it is read in a thread and recorded in a transaction of its own."""
    engine = request.app.state.engine

    def act(report: work.Report) -> str:
        report(0, len(data), f"Reading {label}")
        found = read_layout(
            data,
            legacy_byte_order=form.legacy_byte_order or None,
            progress=lambda done, total: report(done, total, f"Reading {label}"),
        )
        report(1, None, f"Keeping {counted(len(found.layout.maps), 'map')}")
        with transaction(engine) as session:
            row = add_layout(
                session,
                person=people.by_id(session, person_id),
                at=datetime.now(UTC),
                name=form.name or found.layout.name,
                definitions=found.layout,
                source=found.source,
                software_number=form.software_number,
                uploaded=data,
                file_name=label,
                findings=found.findings,
            )
            return f"/layouts/{row.id}"

    return work.begin(person_id, f"Reading {label}", act)


@router.get("/template.csv")
def template(_person: Viewer) -> Response:
    return attachment(layout_csv_template(), "layout-template.csv", "text/csv")


@router.get("/{layout_id:int}")
def show(
    request: Request,
    layout_id: int,
    session: Read,
    person: Viewer,
    q: str = "",
    category: str = "",
    start: Annotated[int, Query(ge=0, le=10**9)] = 0,
    map: str = "",
) -> HTMLResponse:
    page = layout_page(session, layout_id, person, Filter(q, category, start, map))
    return render(request, "layouts/page.html", page, session=session, person=person, title=page.row.name)
