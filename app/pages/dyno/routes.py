"""Routes of dynos, sessions, pulls and the inbox."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_dyno import add_dyno
from app.actions.add_inbox_item import add_inbox_item
from app.actions.add_runs import NewRuns, add_runs
from app.actions.attribute import Result, attribute
from app.actions.decide_run import decide_run
from app.actions.record_session import record_session
from app.calc.dyno.correction import STANDARDS
from app.errors import AppError, BadInput
from app.pages.dyno.session_form import FIELD_OF, PURPOSES, SessionForm, new_session
from app.pages.dyno.session_view import session_page
from app.readers.dyno_csv import read_dyno_csv
from app.record import content, dyno, revisions, vehicles
from app.record.attributions import suggested
from app.record.car_state import vehicle_label
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, read_number, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Uploads, read_upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class DynosPage:
    rows: tuple[tuple[str, str, str, int], ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class SessionRow:
    href: str
    at: dt.datetime
    purpose: str
    dyno: str
    on_car: str
    pulls: str
    standard: str


@dataclass(frozen=True, slots=True)
class SessionsPage:
    vehicle_id: int
    vehicle: str
    rows: tuple[SessionRow, ...]
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class OnUnitChoice:
    unit_id: int
    role: str
    options: tuple[tuple[str, str], ...]
    suggested: str


@dataclass(frozen=True, slots=True)
class SessionFormPage:
    vehicle_id: int
    vehicle: str
    hybrid: bool
    boosted: bool
    dynos: tuple[tuple[str, str], ...]
    purposes: tuple[tuple[str, str], ...]
    standards: tuple[tuple[str, str], ...]
    units: tuple[OnUnitChoice, ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class InboxRow:
    id: int
    file_name: str
    at: dt.datetime
    summary: str
    suggestion: str


@dataclass(frozen=True, slots=True)
class InboxPage:
    rows: tuple[InboxRow, ...]
    sessions: tuple[tuple[str, str], ...]
    sentence: str


class DynoForm(FormModel):
    name: str = ""
    note: str = ""


class RunsForm(FormModel):
    files: Uploads = []
    start_coolant: str = ""
    start_intake: str = ""
    battery_soc: str = ""


class DecisionForm(FormModel):
    included: str = "no"
    reason: str = ""


class AttributionForm(FormModel):
    control_unit_id: int
    revision: str = ""
    reason: str = ""


class InboxForm(FormModel):
    files: Uploads = []


class TakeForm(FormModel):
    session_id: str = ""


def _dynos(session: Session, sentence: str) -> DynosPage:
    rows = tuple(
        (f"/dynos/{one.id}", one.name, one.note, len(dyno.sessions_of_dyno(session, one.id)))
        for one in dyno.dynos(session)
    )
    return DynosPage(rows, sentence)


@router.get("/dynos")
def show_dynos(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    return render(request, "dyno/dynos.html", _dynos(session, ""), session=session, person=person, title="Dynos")


@router.post("/dynos")
def take_dyno(
    request: Request, form: Annotated[DynoForm, Form()], once: OncePerForm, session: Write, person: Tuner, now: Now
) -> Response:
    try:
        with session.begin_nested():
            row = add_dyno(session, person=person, at=now, name=form.name, note=form.note)
    except AppError as error:
        page = _dynos(session, error.sentence)
        return render(
            request, "dyno/dynos.html", page, session=session, person=person, title="Dynos", status=error.status
        )
    return see_other(request, session, f"/dynos/{row.id}", once)


@router.get("/vehicles/{vehicle_id:int}/dyno-sessions")
def show_sessions(request: Request, vehicle_id: int, session: Read, person: Viewer) -> HTMLResponse:
    vehicle = vehicles.vehicle(session, vehicle_id)
    rows = dyno.sessions_of_vehicle(session, vehicle.id)
    runs = dyno.runs_of(session, [row.id for row in rows])
    names = {one.id: one.name for one in dyno.dynos(session)}
    on_car = dyno.on_car_words(session, [row.id for row in rows])
    page = SessionsPage(
        vehicle.id,
        vehicle_label(vehicle),
        tuple(
            SessionRow(
                f"/dyno-sessions/{row.id}",
                row.measured_at,
                row.purpose,
                names[row.dyno_id],
                on_car[row.id],
                f"{sum(r.included for r in runs[row.id])} of {len(runs[row.id])}",
                STANDARDS[row.correction_standard],
            )
            for row in rows
        ),
        tuple((str(row.id), f"{row.measured_at:%Y-%m-%d}, {row.purpose}, {on_car[row.id]}") for row in rows),
    )
    return render(request, "dyno/sessions.html", page, session=session, person=person, title="Dyno sessions")


def _form_page(
    session: Session, vehicle_id: int, form: SessionForm, error: AppError | None, now: dt.datetime
) -> SessionFormPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    suggestion = suggested(session, vehicle.id, now)
    units = []
    for unit in vehicles.control_units(session, vehicle.id):
        options = [("stock", "Stock")]
        options += [(str(r.id), f"Revision {r.number} “{r.title}”") for r in revisions.of_unit(session, unit.id)]
        chosen = suggestion.get(unit.id)
        units.append(OnUnitChoice(unit.id, unit.role, tuple(options), "stock" if chosen is None else str(chosen)))
    field = None if error is None else FIELD_OF.get(error.field or "", error.field or "dyno_id")
    return SessionFormPage(
        vehicle.id,
        vehicle_label(vehicle),
        vehicle.hybrid,
        vehicle.boosted,
        tuple((str(one.id), one.name) for one in dyno.dynos(session)),
        PURPOSES,
        tuple(STANDARDS.items()),
        tuple(units),
        text_of(form),
        {} if error is None or field is None else {field: error.sentence},
        "" if error is None else error.sentence,
    )


@router.get("/vehicles/{vehicle_id:int}/dyno-sessions/new")
def show_session_form(request: Request, vehicle_id: int, session: Read, person: Tuner, now: Now) -> HTMLResponse:
    vehicle = vehicles.vehicle(session, vehicle_id)
    before = dyno.sessions_of_vehicle(session, vehicle.id)
    form = SessionForm(driven_axles=vehicle.driven_axles, tyre=vehicle.tyre)
    if before:
        last = before[0]
        form = form.model_copy(
            update={
                "dyno_id": str(last.dyno_id),
                "correction_standard": last.correction_standard,
                "gear": last.gear,
                "drive_mode": last.drive_mode,
                "driven_axles": last.driven_axles,
                "fuel": last.fuel,
            }
        )
    page = _form_page(session, vehicle_id, form, None, now)
    return render(request, "dyno/session_new.html", page, session=session, person=person, title="Dyno session")


@router.post("/vehicles/{vehicle_id:int}/dyno-sessions")
def take_session(
    request: Request,
    vehicle_id: int,
    form: Annotated[SessionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        conditions = new_session(form, view_of(request, session, person).units)
        with session.begin_nested():
            row = record_session(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                conditions=conditions,
                attributed=_attributed(form.attributed),
            )
    except AppError as error:
        page = _form_page(session, vehicle_id, form, error, now)
        return render(
            request,
            "dyno/session_new.html",
            page,
            session=session,
            person=person,
            title="Dyno session",
            status=error.status,
        )
    return see_other(request, session, f"/dyno-sessions/{row.id}", once)


def _attributed(text: str) -> dict[int, int | None] | None:
    """ "unit:revision" pairs as the form's choices give them; None when the suggestion shall be taken."""
    pairs = [part.split(":") for part in text.split() if ":" in part]
    if not pairs:
        return None
    if any(not unit.isdigit() or not (what == "stock" or what.isdigit()) for unit, what in pairs):
        raise BadInput("Choose what was on each control unit.", field="attributed")
    return {int(unit): None if what == "stock" else int(what) for unit, what in pairs}


@router.get("/dyno-sessions/{session_id:int}")
def show_session(request: Request, session_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = session_page(session, session_id, view_of(request, session, person).units, "")
    return render(request, "dyno/session.html", page, session=session, person=person, title="Dyno session")


def _refused(request: Request, session: Session, person: Tuner, session_id: int, error: AppError) -> HTMLResponse:
    page = session_page(session, session_id, view_of(request, session, person).units, str(error))
    return render(
        request, "dyno/session.html", page, session=session, person=person, title="Dyno session", status=error.status
    )


@router.post("/dyno-sessions/{session_id:int}/runs", max_body_size=UPLOAD_LIMIT)
def take_runs(
    request: Request,
    session_id: int,
    form: Annotated[RunsForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    units = view_of(request, session, person).units
    try:
        start = {
            "start_coolant_c": read_number(form.start_coolant, field="start_coolant", label="Coolant at start"),
            "start_intake_c": read_number(form.start_intake, field="start_intake", label="Intake air at start"),
        }
        start = {key: None if v is None else units.read(v, "temperature") for key, v in start.items()}
        charge = read_number(form.battery_soc, field="battery_soc", label="State of charge", lowest=0, highest=100)
        if not form.files:
            raise BadInput("Choose at least one file.", field="files")
        with session.begin_nested():
            for file in form.files:
                data, label = read_upload(file, field="files")
                found = read_dyno_csv(data)
                runs = NewRuns.of_file(found, battery_soc_percent=charge, **start)
                add_runs(
                    session,
                    person=person,
                    at=now,
                    dyno_session_id=session_id,
                    uploaded=data,
                    file_name=label,
                    runs=runs,
                )
    except AppError as error:
        return _refused(request, session, person, session_id, error)
    return see_other(request, session, f"/dyno-sessions/{session_id}#pulls", once)


@router.post("/runs/{run_id:int}/decision")
def take_decision(
    request: Request,
    run_id: int,
    form: Annotated[DecisionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    run = dyno.run(session, run_id)
    try:
        with session.begin_nested():
            decide_run(
                session, person=person, at=now, run_id=run_id, included=form.included == "yes", reason=form.reason
            )
    except AppError as error:
        return _refused(request, session, person, run.dyno_session_id, error)
    return see_other(request, session, f"/dyno-sessions/{run.dyno_session_id}#pulls", once)


@router.post("/dyno-sessions/{session_id:int}/attribution")
def take_attribution(
    request: Request,
    session_id: int,
    form: Annotated[AttributionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            attribute(
                session,
                person=person,
                at=now,
                result=Result(dyno_session_id=session_id),
                control_unit_id=form.control_unit_id,
                revision_id=int(form.revision) if form.revision.isdigit() else None,
                reason=form.reason,
            )
    except AppError as error:
        return _refused(request, session, person, session_id, error)
    return see_other(request, session, f"/dyno-sessions/{session_id}", once)


@router.get("/runs/{run_id:int}/file")
def download_run(run_id: int, session: Read, _person: Viewer) -> Response:
    row = dyno.run(session, run_id)
    return attachment(content.fetch(session, row.sha256), row.file_name)


def _inbox(session: Session, sentence: str) -> InboxPage:
    recent = dyno.recent_sessions(session, 20)
    on_car = dyno.on_car_words(session, [row.id for row, _ in recent])
    rows = []
    for item in dyno.inbox(session):
        near = min(recent, key=lambda pair: abs(pair[0].measured_at - item.recorded_at), default=None)
        pulls = item.summary["pulls"]
        rows.append(
            InboxRow(
                item.id,
                item.file_name,
                item.recorded_at,
                f"{pulls} {'pull' if pulls == 1 else 'pulls'}; {', '.join(item.summary['channels'][:6])}",
                "" if near is None else str(near[0].id),
            )
        )
    choices = tuple(
        (str(row.id), f"{vehicle_label(car)}, {row.measured_at:%Y-%m-%d %H:%M} UTC, {on_car[row.id]}")
        for row, car in recent
    )
    return InboxPage(tuple(rows), choices, sentence)


@router.get("/inbox")
def show_inbox(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    return render(request, "dyno/inbox.html", _inbox(session, ""), session=session, person=person, title="Inbox")


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
                    found=read_dyno_csv(data),
                    recorded_at=now,
                )
    except AppError as error:
        page = _inbox(session, str(error))
        return render(
            request, "dyno/inbox.html", page, session=session, person=person, title="Inbox", status=error.status
        )
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
    item = dyno.inbox_item(session, item_id)
    if not form.session_id.isdigit():
        raise BadInput("Choose the session that the file belongs to.", field="session_id")
    data = content.fetch(session, item.sha256)
    runs = NewRuns.of_file(read_dyno_csv(data))
    add_runs(
        session,
        person=person,
        at=now,
        dyno_session_id=int(form.session_id),
        uploaded=data,
        file_name=item.file_name,
        runs=runs,
        inbox_item_id=item.id,
    )
    return see_other(request, session, f"/dyno-sessions/{form.session_id}#pulls", once)
