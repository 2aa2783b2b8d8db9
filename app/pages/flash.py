"""The guided flash log: before, the write, read-back, coding write-back, first start."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_read_back import add_read_back
from app.actions.keep_coding import keep_coding
from app.actions.log_flash import NewFlash, log_flash
from app.actions.record_first_start import record_first_start
from app.actions.waive_coding import waive_coding
from app.actions.write_coding_back import write_coding_back
from app.errors import AppError, Conflict
from app.readers.coding import read_coding
from app.record import car_state, flash_log, flashes, revisions, stocks, vehicles
from app.record.car_state import vehicle_label
from app.record.settings import shop
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, read_choice, read_number, see_other, text_of
from app.web.image_upload import read_image_upload
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Choice:
    """Something that can be flashed: key ("stock" or a revision's id), words, digest."""

    key: str
    text: str
    digest: str | None


@dataclass(frozen=True, slots=True)
class FlashFormPage:
    unit_id: int
    vehicle_id: int
    vehicle: str
    role: str
    hybrid: bool
    coding_kept: bool
    loses_coding: bool
    minimum_v: float
    choices: tuple[Choice, ...]
    happened_open: bool
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    details: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FlashPage:
    id: int
    unit_id: int
    vehicle_id: int
    vehicle: str
    role: str
    what: str
    what_href: str
    at: datetime
    by: str
    outcome: str
    digest: str | None
    supply_before_v: float | None
    supply_lowest_v: float | None
    supply_low_v: float | None
    supply_rose: bool
    minimum_v: float
    checksums: tuple[dict[str, Any], ...]
    broken: tuple[str, ...]
    note: str
    read_back: tuple[bool, str, tuple[str, ...], datetime] | None
    pending: bool
    may_tune: bool
    loses_coding: bool
    write_back: tuple[bool, str, int, datetime] | None
    differences: tuple[dict[str, Any], ...]
    first_start: tuple[datetime, bool] | None
    snapshots: tuple[tuple[str, str, datetime, int], ...]
    sentence: str
    typed: dict[str, str]


class FlashForm(FormModel):
    what: str = ""
    sha256: str = ""
    supply_before_v: str = ""
    supply_lowest_v: str = ""
    outcome: str = "completed"
    note: str = ""
    happened_anyway: str = ""
    happened_reason: str = ""


class ReadBackForm(FormModel):
    file: Upload = None


class WriteBackForm(FormModel):
    wanted_snapshot_id: int = 0
    file: Upload = None
    text: str = ""


class WaiveForm(FormModel):
    reason: str = ""
    confirmed: str = ""


class StartForm(FormModel):
    note: str = ""
    happened_anyway: str = ""


def _form_page(session: Session, unit_id: int, form: FlashForm, error: AppError | None) -> FlashFormPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    stock = stocks.current(session, unit.id)
    rows = revisions.of_unit(session, unit.id)
    decided = revisions.decisions(session, [row.id for row in rows])
    choices = [] if stock is None else [Choice("stock", "Stock", stock.sha256)]
    last: list[Choice] = []
    for row in reversed(rows):
        decision = decided.get(row.id)
        word = "draft" if decision is None else decision.decision
        if row.kind == "ported":
            word += "; computed, not validated on a vehicle"
        choice = Choice(str(row.id), f"Revision {row.number} “{row.title}” ({word})", row.sha256)
        (last if word.startswith("withdrawn") else choices).append(choice)
    return FlashFormPage(
        unit.id,
        vehicle.id,
        vehicle_label(vehicle),
        unit.role,
        vehicle.hybrid,
        bool(flashes.coding_snapshots(session, vehicle.id)),
        vehicle.loses_coding,
        shop(session).supply_minimum_v,
        (*choices, *last),
        bool(form.happened_anyway or form.happened_reason) or isinstance(error, Conflict),
        text_of(form),
        {} if error is None else {_field(error): error.sentence},
        "" if error is None else error.sentence,
        () if error is None else error.details,
    )


def _field(error: AppError) -> str:
    return "what" if error.field in (None, "revision_id") else str(error.field)


@router.get("/control-units/{unit_id:int}/flashes/new")
def show_form(
    request: Request, unit_id: int, session: Read, person: Tuner, revision: int | None = None
) -> HTMLResponse:
    form = FlashForm(what="" if revision is None else str(revision))
    page = _form_page(session, unit_id, form, None)
    return render(request, "flash/new.html", page, session=session, person=person, title="Log a flash")


@router.post("/control-units/{unit_id:int}/flashes")
def take(
    request: Request,
    unit_id: int,
    form: Annotated[FlashForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        sentence = "Choose what was written."
        new = NewFlash(
            revision_id=None if form.what == "stock" else read_choice(form.what, field="what", sentence=sentence),
            outcome=form.outcome,
            supply_before_v=read_number(form.supply_before_v, field="supply_before_v", label="Voltage before"),
            supply_lowest_v=read_number(form.supply_lowest_v, field="supply_lowest_v", label="Lowest voltage"),
            sha256=form.sha256,
            note=form.note,
            happened_anyway=form.happened_anyway == "yes",
            happened_reason=form.happened_reason,
        )
        with session.begin_nested():
            row = log_flash(session, person=person, at=now, control_unit_id=unit_id, flash=new)
    except AppError as error:
        page = _form_page(session, unit_id, form, error)
        return render(
            request, "flash/new.html", page, session=session, person=person, title="Log a flash", status=error.status
        )
    return see_other(request, session, f"/flashes/{row.id}", once)


def _page(session: Session, flash_id: int, person: Person, refused: AppError | None, form: FormModel) -> FlashPage:
    record = flashes.record(session, flash_id)
    flash = record.flash
    unit = vehicles.control_unit(session, flash.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    owed = car_state.pending_of(session, [vehicle]).get(vehicle.id, ())
    if flash.revision_id is None:
        what, href = "stock", f"/control-units/{unit.id}"
    else:
        revision = revisions.revision(session, flash.revision_id)
        what, href = f"revision {revision.number} “{revision.title}”", f"/revisions/{revision.id}"
    write_back = record.write_back
    minimum_v = shop(session).supply_minimum_v
    return FlashPage(
        id=flash.id,
        unit_id=unit.id,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        role=unit.role,
        what=what,
        what_href=href,
        at=flash.flashed_at,
        by=flashes.person_name(session, flash.by_id),
        outcome=flash.outcome,
        digest=flash.sha256,
        supply_before_v=flash.supply_before_v,
        supply_lowest_v=flash.supply_lowest_v,
        supply_low_v=flash_log.low_supply(flash, minimum_v),
        supply_rose=flash_log.supply_rose(flash),
        minimum_v=minimum_v,
        checksums=tuple(flash.checksums),
        broken=tuple(flash_log.broken_checksums(flash)),
        note=flash.note,
        read_back=None
        if record.read_back is None
        else (
            record.read_back.equal,
            record.read_back.sentence,
            tuple(str(line) for line in record.read_back.differences),
            record.read_back.at,
        ),
        pending=any(one.flash_id == flash.id for one in owed),
        may_tune=person.role != "front_desk",
        loses_coding=vehicle.loses_coding,
        write_back=None
        if write_back is None
        else (write_back.equal, write_back.waiver_reason or "", len(write_back.differences), write_back.at),
        differences=() if write_back is None else tuple(write_back.differences),
        first_start=None
        if record.first_start is None
        else (record.first_start.at, record.first_start.coding_was_pending),
        snapshots=tuple(
            (str(row.id), row.occasion, row.at, row.keys)
            for row in flashes.coding_snapshots(session, vehicle.id)
            if row.entry_seq < flash.entry_seq
        ),
        sentence="" if refused is None else str(refused),
        typed={"reason": "", "note": "", "text": "", **text_of(form)},
    )


@router.get("/flashes/{flash_id:int}")
def show(request: Request, flash_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(session, flash_id, person, None, FormModel())
    return render(request, "flash/page.html", page, session=session, person=person, title="Flash")


def _refused(
    request: Request, session: Session, person: Tuner, flash_id: int, error: AppError, form: FormModel
) -> HTMLResponse:
    page = _page(session, flash_id, person, error, form)
    return render(request, "flash/page.html", page, session=session, person=person, title="Flash", status=error.status)


@router.post("/flashes/{flash_id:int}/read-back", max_body_size=UPLOAD_LIMIT)
def take_read_back(
    request: Request,
    flash_id: int,
    form: Annotated[ReadBackForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        file = read_image_upload(request, form.file, lambda reads: flashes.control_unit(reads, flash_id))
        with session.begin_nested():
            add_read_back(
                session,
                person=person,
                at=now,
                flash_id=flash_id,
                uploaded=file.data,
                file_name=file.label,
                read=file.read,
            )
    except AppError as error:
        return _refused(request, session, person, flash_id, error, form)
    return see_other(request, session, f"/flashes/{flash_id}#read-back", once)


@router.post("/flashes/{flash_id:int}/coding-write-back", max_body_size=UPLOAD_LIMIT)
def take_write_back(
    request: Request,
    flash_id: int,
    form: Annotated[WriteBackForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    """Keep the coding as read again, then compare it with the chosen snapshot: two acts, two journal entries."""
    try:
        data, label = (form.text.encode(), "pasted") if form.text else read_upload(form.file, field="file")
        unit = vehicles.control_unit(session, flashes.flash(session, flash_id).control_unit_id)
        with session.begin_nested():
            read = keep_coding(
                session,
                person=person,
                at=now,
                vehicle_id=unit.vehicle_id,
                coding=read_coding(data),
                occasion="after write-back",
                uploaded=data,
                file_name=label,
            )
            write_coding_back(
                session,
                person=person,
                at=now,
                flash_id=flash_id,
                wanted_snapshot_id=form.wanted_snapshot_id,
                read_snapshot_id=read.id,
            )
    except AppError as error:
        return _refused(request, session, person, flash_id, error, form)
    return see_other(request, session, f"/flashes/{flash_id}#coding", once)


@router.post("/flashes/{flash_id:int}/waive-coding")
def take_waiver(
    request: Request,
    flash_id: int,
    form: Annotated[WaiveForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            waive_coding(session, person=person, at=now, flash_id=flash_id, reason=form.reason)
    except AppError as error:
        return _refused(request, session, person, flash_id, error, form)
    return see_other(request, session, f"/flashes/{flash_id}#coding", once)


@router.post("/flashes/{flash_id:int}/first-start")
def take_first_start(
    request: Request,
    flash_id: int,
    form: Annotated[StartForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            record_first_start(
                session,
                person=person,
                at=now,
                flash_id=flash_id,
                note=form.note,
                happened_anyway=form.happened_anyway == "yes",
            )
    except AppError as error:
        return _refused(request, session, person, flash_id, error, form)
    return see_other(request, session, f"/flashes/{flash_id}#first-start", once)
