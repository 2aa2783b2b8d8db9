"""Name a range of unexplained bytes: a form with live numbers, saved as the layout's next version."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from app.actions.name_range import name_range
from app.calc.calibration.address_text import address_of
from app.errors import AppError
from app.pages.diff.address import Address
from app.pages.diff.map_form import MapFields, of_flat
from app.pages.diff.name_view import NamedRange, PreviewPage, name_page, preview_of, readable
from app.record import comparisons, layouts
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render, render_fragment
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write

router = APIRouter(prefix="/compare/name")


class Subject(BaseModel):
    """The hidden fields: which range of which comparison."""

    before: str = Field("", alias="from")
    to: str = ""
    layout: str = Field("", pattern=r"^\d{0,9}$")
    start: str = ""
    end: str = ""

    @property
    def range(self) -> NamedRange:
        layout_id = int(self.layout) if self.layout else None
        return NamedRange(self.before, self.to, layout_id, address_of(self.start, "start"), address_of(self.end, "end"))


class Typed(Subject):
    """The description of the map; a field that is missing was not typed yet."""

    name: str | None = None
    category: str | None = None
    description: str | None = None
    kind: str | None = None
    address: str | None = None
    data_type: str | None = None
    byte_order: str | None = None
    columns: str | None = None
    rows: str | None = None
    factor: str | None = None
    offset: str | None = None
    unit: str | None = None
    x_name: str | None = None
    x_unit: str | None = None
    x_address: str | None = None
    x_data_type: str | None = None
    x_factor: str | None = None
    x_offset: str | None = None
    x_values: str | None = None
    y_name: str | None = None
    y_unit: str | None = None
    y_address: str | None = None
    y_data_type: str | None = None
    y_factor: str | None = None
    y_offset: str | None = None
    y_values: str | None = None
    new_layout: str = ""

    @property
    def map_fields(self) -> MapFields:
        return of_flat({name: value for name, value in self if isinstance(value, str)})


class NameQuery(Typed):
    guess: int = Field(0, ge=0, le=20)


class NameForm(Typed, FormModel):
    pass


@router.get("")
def show_form(request: Request, query: Annotated[NameQuery, Query()], session: Read, person: Tuner) -> HTMLResponse:
    typed = query.map_fields if query.kind is not None else None
    page = name_page(session, query.range, guess=query.guess, typed=typed, new_layout=query.new_layout)
    return render(request, "diff/name.html", page, session=session, person=person, title=page.title)


@router.get("/preview")
def preview(request: Request, query: Annotated[NameQuery, Query()], session: Read, person: Tuner) -> HTMLResponse:
    """The numbers that the fields describe, as the person types."""
    subject = query.range
    compared = comparisons.of_nodes(session, subject.before, subject.after, layout_id=subject.layout_id)
    page = PreviewPage(preview_of(compared, query.map_fields))
    return render_fragment(request, "diff/_preview.html", page, session=session, person=person)


@router.post("")
def take(
    request: Request,
    form: Annotated[NameForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    subject = form.range
    try:
        with session.begin_nested():
            compared = comparisons.of_nodes(session, subject.before, subject.after, layout_id=subject.layout_id)
            added = name_range(
                session,
                person=person,
                at=now,
                layout_id=None if compared.layout is None else compared.layout.id,
                definition=readable(compared, form.map_fields)[0],
                new_layout=form.new_layout,
                software_number=compared.after.unit.software_number,
            )
    except AppError as error:
        page = name_page(session, subject, typed=form.map_fields, error=error, new_layout=form.new_layout)
        return render(
            request, "diff/name.html", page, session=session, person=person, title=page.title, status=error.status
        )
    layout = layouts.layout(session, added.id)
    name = form.map_fields.name.strip()
    return see_other(request, session, Address(subject.before, subject.after, layout.id, name).href(), once)
