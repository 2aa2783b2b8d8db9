"""Layouts grow from use: block checksums, ranges a unit rewrites itself, categories; and comparing again afterwards."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.add_block_checksum import add_block_checksum
from app.actions.add_volatile_range import add_volatile_range
from app.actions.change_map_category import change_map_category
from app.actions.recompute_analysis import recompute_analysis
from app.errors import AppError
from app.pages.layouts.typed import checksum_of, volatile_of
from app.pages.layouts.views import Filter, layout_page
from app.record import layouts, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write

router = APIRouter(prefix="/layouts/{layout_id:int}")

# So many comparisons are computed in about a second.
AT_ONCE = 25


class ChecksumForm(FormModel):
    name: str = ""
    algorithm: str = ""
    ranges: str = ""
    stored_at: str = ""
    byte_order: str = "big"
    start: str = ""


class VolatileForm(FormModel):
    range: str = ""
    reason: str = ""


class CategoryForm(FormModel):
    map: str = ""
    category: str = ""


class RecomputeForm(FormModel):
    revision: list[int] = Field(default_factory=list, max_length=AT_ONCE)


@dataclass(frozen=True, slots=True)
class OutdatedRow:
    id: int
    label: str
    vehicle: str


@dataclass(frozen=True, slots=True)
class RecomputePage:
    layout: tuple[str, str]
    layout_id: int
    rows: tuple[OutdatedRow, ...]
    further: int


def _refused(
    request: Request, session: Session, person: Person, layout_id: int, error: AppError, form: FormModel
) -> HTMLResponse:
    page = layout_page(session, layout_id, person, Filter(), values=text_of(form), error=error)
    title = page.row.name
    return render(request, "layouts/page.html", page, session=session, person=person, title=title, status=error.status)


@router.post("/checksums")
def take_checksum(
    request: Request,
    layout_id: int,
    form: Annotated[ChecksumForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        known = layouts.require(session, layouts.layout(session, layout_id))
        definition = checksum_of(text_of(form), known)
        with session.begin_nested():
            row = add_block_checksum(session, person=person, at=now, layout_id=layout_id, definition=definition)
    except AppError as error:
        return _refused(request, session, person, layout_id, error, form)
    return see_other(request, session, f"/layouts/{row.id}#checksums", once)


@router.post("/volatile-ranges")
def take_volatile(
    request: Request,
    layout_id: int,
    form: Annotated[VolatileForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        known = layouts.require(session, layouts.layout(session, layout_id))
        volatile = volatile_of(text_of(form), known)
        with session.begin_nested():
            row = add_volatile_range(session, person=person, at=now, layout_id=layout_id, volatile=volatile)
    except AppError as error:
        return _refused(request, session, person, layout_id, error, form)
    return see_other(request, session, f"/layouts/{row.id}#volatile", once)


@router.post("/categories")
def take_category(
    request: Request,
    layout_id: int,
    form: Annotated[CategoryForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            row = change_map_category(
                session, person=person, at=now, layout_id=layout_id, name=form.map, category=form.category
            )
    except AppError as error:
        return _refused(request, session, person, layout_id, error, form)
    return see_other(request, session, f"/layouts/{row.id}#maps", once)


@router.get("/recompute")
def show_outdated(request: Request, layout_id: int, session: Read, person: Tuner) -> HTMLResponse:
    row = layouts.layout(session, layout_id)
    found = layouts.outdated(session, row)
    page = RecomputePage(
        (f"{row.name} v{row.version}", f"/layouts/{row.id}"),
        row.id,
        tuple(
            OutdatedRow(one.id, f"Revision {one.number} “{one.title}”", _car(session, one.control_unit_id))
            for one in found[:AT_ONCE]
        ),
        max(0, len(found) - AT_ONCE),
    )
    return render(request, "layouts/recompute.html", page, session=session, person=person, title="Compare again")


def _car(session: Session, unit_id: int) -> str:
    unit = vehicles.control_unit(session, unit_id)
    return vehicle_label(vehicles.vehicle(session, unit.vehicle_id))


@router.post("/recompute")
def compare_again(
    request: Request,
    layout_id: int,
    form: Annotated[RecomputeForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    """One act and one journal entry for each revision chosen; what was compared meanwhile is left out."""
    outdated = {one.id for one in layouts.outdated(session, layouts.layout(session, layout_id))}
    for revision_id in dict.fromkeys(form.revision):
        if revision_id in outdated:
            recompute_analysis(session, person=person, at=now, revision_id=revision_id, layout_id=layout_id)
    left = len(outdated - set(form.revision))
    where = f"/layouts/{layout_id}/recompute" if left else f"/layouts/{layout_id}"
    return see_other(request, session, where, once)
