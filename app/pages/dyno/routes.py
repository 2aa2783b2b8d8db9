"""Routes of sessions and pulls."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.add_runs import NewRuns, add_runs
from app.actions.attribute import Result
from app.actions.decide_run import decide_run
from app.actions.record_session import record_session
from app.calc.dyno.correction import STANDARDS
from app.errors import AppError, BadInput, Conflict
from app.pages.attribution import AttributionForm, Correction, attribute_as_typed, refused_correction
from app.pages.dyno.profile import read_file
from app.pages.dyno.session_form import FIELD_OF, PURPOSES, SessionForm, new_session
from app.pages.dyno.session_view import proposed_pair, session_page
from app.pages.gain.export import session_table
from app.record import content, dyno, gains, revisions, vehicles
from app.record.attributions import suggested
from app.record.car_state import vehicle_label
from app.web.csv_out import csv_download
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, read_choice, read_number, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Uploads, read_upload

router = APIRouter()


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
    may_tune: bool
    rows: tuple[SessionRow, ...]
    choices: tuple[tuple[str, dt.datetime, str], ...]
    proposed: tuple[str, str]


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


class RunsForm(FormModel):
    files: Uploads = Field(default_factory=list)
    start_coolant: str = ""
    start_intake: str = ""
    battery_soc: str = ""


class DecisionForm(FormModel):
    included: str = "no"
    reason: str = ""


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
        person.role != "front_desk",
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
        tuple((str(row.id), row.measured_at, f"{row.purpose}, {on_car[row.id]}") for row in rows),
        proposed_pair(rows),
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
    pairs = [part.split(":", 1) for part in text.split() if ":" in part]
    if not pairs:
        return None
    return {_chosen(unit): None if what == "stock" else _chosen(what) for unit, what in pairs}


def _chosen(text: str) -> int:
    return read_choice(text, field="attributed", sentence="Choose what was on each control unit.")


@router.get("/dyno-sessions/{session_id:int}")
def show_session(
    request: Request,
    session_id: int,
    session: Read,
    person: Viewer,
    resolve: Annotated[str, Query(max_length=20)] = "",
) -> HTMLResponse:
    page = session_page(session, session_id, person, view_of(request, session, person), wanted=resolve)
    return render(request, "dyno/session.html", page, session=session, person=person, title="Dyno session")


@router.get("/dyno-sessions/{session_id:int}/curves.csv")
def download_curves(session_id: int, session: Read, _person: Viewer) -> Response:
    side = gains.side(session, dyno.dyno_session(session, session_id), None)
    if side.pulls is None:
        raise Conflict(f"There is no curve to download: {side.refusal}")
    heading, rows = session_table(side, side.pulls)
    return csv_download(f"session-{session_id}", heading, rows)


def _told(error: AppError) -> str:
    """The sentence with its details: which columns were seen in a file that could not be read."""
    return " ".join([str(error), *(f"{line}." for line in error.details[:8])])


def _refused(
    request: Request,
    session: Session,
    person: Tuner,
    session_id: int,
    error: AppError,
    correction: Correction | None = None,
) -> HTMLResponse:
    view = view_of(request, session, person)
    page = session_page(session, session_id, person, view, sentence=_told(error), correction=correction)
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
        row = dyno.dyno_session(session, session_id)
        with session.begin_nested():
            for file in form.files:
                data, label = read_upload(file, field="files")
                runs = NewRuns.of_file(read_file(session, row.dyno_id, data), battery_soc_percent=charge, **start)
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
        attribute_as_typed(session, person, now, form, Result(dyno_session_id=session_id))
    except AppError as error:
        correction = refused_correction(request.url.path, form, error)
        return _refused(request, session, person, session_id, error, correction)
    return see_other(request, session, f"/dyno-sessions/{session_id}", once)


@router.get("/runs/{run_id:int}/file")
def download_run(run_id: int, session: Read, _person: Viewer) -> Response:
    row = dyno.run(session, run_id)
    return attachment(content.fetch(session, row.sha256), row.file_name)
