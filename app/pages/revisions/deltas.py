"""Enter by hand what a revision without an image changes: one map, or many from a table."""

from dataclasses import dataclass, fields
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.enter_deltas import enter_deltas
from app.calc.calibration.layout import CATEGORIES
from app.errors import AppError, Conflict
from app.readers.delta_csv import COLUMNS, read_delta_csv
from app.readers.map_text import TypedMap, read_typed_map
from app.record import layouts, nodes, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import Revision
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(prefix="/revisions/{revision_id:int}/deltas")

_MOST_NAMES = 2000


@dataclass(frozen=True, slots=True)
class EnterPage:
    id: int
    title: str
    vehicle: tuple[str, str]
    entered: tuple[str, ...]
    names: tuple[str, ...]
    categories: tuple[tuple[str, str], ...]
    columns: str
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


class MapForm(FormModel):
    name: str = ""
    category: str = "other"
    unit: str = ""
    x_name: str = ""
    x_unit: str = ""
    x: str = ""
    y_name: str = ""
    y_unit: str = ""
    y: str = ""
    before: str = ""
    after: str = ""
    another: str = ""


def _page(
    session: Session, revision_id: int, values: dict[str, str], error: AppError | None, *, field: str = ""
) -> EnterPage:
    row = revisions.revision(session, revision_id)
    if row.kind != "by hand":
        raise Conflict(f"Revision {row.number} has an image: what it changes is computed from its bytes.")
    analysis = revisions.analysis(session, row.id)
    unit = vehicles.control_unit(session, row.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    return EnterPage(
        id=row.id,
        title=f"Revision {row.number} “{row.title}”",
        vehicle=(vehicle_label(vehicle), f"/vehicles/{vehicle.id}"),
        entered=() if analysis is None else tuple(one.name for one in revisions.map_deltas(session, analysis.id)),
        names=_names(session, row),
        categories=tuple((one, one.capitalize()) for one in CATEGORIES),
        values={field.name: str(field.default) for field in fields(TypedMap) if field.name != "name"}
        | {"name": "", "csv": ""}
        | values,
        columns=", ".join(COLUMNS),
        errors={} if error is None else {field or error.field or "name": str(error)},
        sentence="" if error is None else str(error),
    )


def _names(session: Session, row: Revision) -> tuple[str, ...]:
    """The maps of the layout in use, to choose from; none where there are too many for a page."""
    known = layouts.definitions(session, nodes.layout(session, nodes.node(session, f"r{row.id}")))
    return () if known is None or len(known.maps) > _MOST_NAMES else tuple(one.name for one in known.maps)


@router.get("/new")
def show_form(request: Request, revision_id: int, session: Read, person: Tuner) -> HTMLResponse:
    page = _page(session, revision_id, {}, None)
    return render(request, "revisions/deltas.html", page, session=session, person=person, title="What was changed")


class TableForm(FormModel):
    file: Upload = None
    csv: str = ""


@router.post("/table", max_body_size=UPLOAD_LIMIT)
def take_table(
    request: Request,
    revision_id: int,
    form: Annotated[TableForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    """Many maps at once, from a table that was pasted or uploaded."""
    try:
        data = form.csv.encode() if form.csv else read_upload(form.file, field="csv")[0]
        deltas = read_delta_csv(data)
        with session.begin_nested():
            enter_deltas(session, person=person, at=now, revision_id=revision_id, deltas=deltas)
    except AppError as error:
        page = _page(session, revision_id, {"csv": form.csv}, error, field="csv")
        return render(
            request,
            "revisions/deltas.html",
            page,
            session=session,
            person=person,
            title="What was changed",
            status=error.status,
        )
    return see_other(request, session, f"/revisions/{revision_id}#maps", once)


@router.post("")
def take(
    request: Request,
    revision_id: int,
    form: Annotated[MapForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        typed = {field.name: getattr(form, field.name) for field in fields(TypedMap)}
        delta = read_typed_map(TypedMap(**typed))
        with session.begin_nested():
            enter_deltas(session, person=person, at=now, revision_id=revision_id, deltas=[delta])
    except AppError as error:
        page = _page(session, revision_id, text_of(form), error)
        return render(
            request,
            "revisions/deltas.html",
            page,
            session=session,
            person=person,
            title="What was changed",
            status=error.status,
        )
    where = f"/revisions/{revision_id}/deltas/new" if form.another else f"/revisions/{revision_id}#maps"
    return see_other(request, session, where, once)
