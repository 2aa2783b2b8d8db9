"""Log a revision: from its image, or by hand where there is none."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.log_by_hand import log_by_hand
from app.actions.log_revision import NewRevision, log_revision
from app.errors import AppError, BadInput
from app.record import layouts, revisions, stocks, vehicles
from app.record.car_state import on_units, vehicle_label
from app.record.tables import Person, Revision
from app.web.form import FormModel, OncePerForm, read_choice, see_other, text_of
from app.web.image_upload import ImageUpload, read_image_upload
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload

router = APIRouter(prefix="/control-units/{unit_id:int}/revisions")


@dataclass(frozen=True, slots=True)
class NewRevisionPage:
    unit_id: int
    vehicle: tuple[str, str]
    role: str
    has_stock: bool
    parents: tuple[tuple[str, str], ...]
    layouts: tuple[tuple[str, str], ...]
    suggested: str
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


class RevisionForm(FormModel):
    file: Upload = None
    no_image: str = ""
    parent_id: str = ""
    title: str = ""
    purpose: str = ""
    layout_id: str = ""
    fuel_requirement: str = ""
    hardware_requirement: str = ""


def _page(session: Session, unit_id: int, values: dict[str, str], error: AppError | None) -> NewRevisionPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    stock = stocks.current(session, unit.id)
    digest = None if stock is None else stock.sha256
    matching = layouts.matching(session, software_number=unit.software_number, sha256=digest)
    others = [row for row in layouts.newest(session) if row.id not in {one.id for one in matching}]
    rows = revisions.of_unit(session, unit.id)
    return NewRevisionPage(
        unit_id=unit.id,
        vehicle=(vehicle_label(vehicle), f"/vehicles/{vehicle.id}"),
        role=unit.role,
        has_stock=stock is not None,
        parents=(("stock", "Stock"), *((str(r.id), f"Revision {r.number} “{r.title}”") for r in reversed(rows))),
        layouts=tuple((str(row.id), f"{row.name} v{row.version}") for row in (*matching, *others)),
        suggested="" if not matching else f"{matching[0].name} v{matching[0].version}",
        values={"parent_id": _likely_parent(session, unit.id, rows)} | values,
        errors={} if error is None else {error.field or "title": error.sentence},
        sentence="" if error is None else str(error),
    )


def _likely_parent(session: Session, unit_id: int, rows: Sequence[Revision]) -> str:
    """What is on the car, else the newest revision, else stock."""
    on_now = on_units(session, [unit_id])[unit_id]
    if on_now.revision_id is not None:
        return str(on_now.revision_id)
    return "stock" if on_now.kind == "stock" or not rows else str(rows[-1].id)


@router.get("/new")
def show_form(request: Request, unit_id: int, session: Read, person: Tuner, parent: int | None = None) -> HTMLResponse:
    page = _page(session, unit_id, {} if parent is None else {"parent_id": str(parent)}, None)
    return render(request, "revisions/new.html", page, session=session, person=person, title="Log a revision")


@router.post("", max_body_size=UPLOAD_LIMIT)
def take(
    request: Request,
    unit_id: int,
    form: Annotated[RevisionForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        file = None if form.no_image == "yes" else _file(request, unit_id, form)
        with session.begin_nested():
            row = _logged(session, unit_id, form, file, person, now)
    except AppError as error:
        page = _page(session, unit_id, text_of(form), error)
        return render(
            request,
            "revisions/new.html",
            page,
            session=session,
            person=person,
            title="Log a revision",
            status=error.status,
        )
    where = f"/revisions/{row.id}/deltas/new" if row.kind == "by hand" else f"/revisions/{row.id}"
    return see_other(request, session, where, once)


def _file(request: Request, unit_id: int, form: RevisionForm) -> ImageUpload:
    if form.file is None or not form.file.filename:
        raise BadInput("Choose the image file, or tick that there is none.", field="file")
    return read_image_upload(request, form.file, lambda reads: vehicles.control_unit(reads, unit_id))


def _logged(
    session: Session, unit_id: int, form: RevisionForm, file: ImageUpload | None, person: Person, now: Now
) -> Revision:
    new = NewRevision(
        title=form.title,
        purpose=form.purpose,
        parent_id=_number(form.parent_id, "parent_id"),
        layout_id=_number(form.layout_id, "layout_id"),
        fuel_requirement=form.fuel_requirement,
        hardware_requirement=form.hardware_requirement,
    )
    if file is None:
        return log_by_hand(session, person=person, at=now, control_unit_id=unit_id, revision=new)
    return log_revision(
        session,
        person=person,
        at=now,
        control_unit_id=unit_id,
        revision=new,
        uploaded=file.data,
        file_name=file.label,
        read=file.read,
    )


def _number(text: str, field: str) -> int | None:
    """The id chosen; "stock" and nothing are none."""
    return None if text in ("", "stock") else read_choice(text, field=field)
