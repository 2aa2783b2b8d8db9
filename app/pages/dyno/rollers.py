"""A dyno that records roller speed alone: power and torque of a pull from inertia and drag, in the browser."""

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_runs import NewRuns, add_runs
from app.actions.describe_rollers import describe_rollers
from app.calc.dyno.road_load import fit_coast_down
from app.calc.number_text import counted, plain
from app.errors import AppError, BadInput, Conflict
from app.pages.dyno.roller_pull import pull_of, read_log
from app.pages.dyno.roller_view import PowerView, power_view
from app.pages.dyno.rollers_form import AS_INERTIA, RollersForm, carried, mass_of, rollers_of, typed_from
from app.record import dyno, rollers, vehicles
from app.record.car_state import vehicle_label
from app.web.csv_out import csv_download
from app.web.form import OncePerForm, read_choice, see_other, text_of
from app.web.now import Now
from app.web.page import day, render, view_of, writing_as
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, read_upload

router = APIRouter()
Multipart = Annotated[RollersForm, Form(media_type="multipart/form-data")]
SESSIONS_SHOWN = 30


@dataclass(frozen=True, slots=True)
class RollersPage:
    dyno_id: int
    dyno: str
    kept: str
    typed: dict[str, str]
    units: tuple[tuple[str, str], ...]
    sessions: tuple[tuple[str, str], ...]
    found: PowerView | None
    coast: str
    errors: dict[str, str]
    sentence: str


def _page(
    session: Session,
    dyno_id: int,
    typed: dict[str, str] | None = None,
    *,
    found: PowerView | None = None,
    coast: str = "",
    error: AppError | None = None,
) -> RollersPage:
    place = dyno.dyno(session, dyno_id)
    kept = rollers.rollers_of(place)
    if typed is None:
        typed = text_of(RollersForm()) | ({} if kept is None else typed_from(kept))
    newest = list(dyno.sessions_of_dyno(session, place.id))[::-1][:SESSIONS_SHOWN]
    on_car = dyno.on_car_words(session, [row.id for row in newest])
    cars = {row.vehicle_id: vehicle_label(vehicles.vehicle(session, row.vehicle_id)) for row in newest}
    return RollersPage(
        place.id,
        place.name,
        "" if kept is None else kept.text,
        typed,
        AS_INERTIA,
        tuple(
            (str(row.id), f"{day(row.measured_at)}, {cars[row.vehicle_id]}, {row.purpose}, {on_car[row.id]}")
            for row in newest
        ),
        found,
        coast,
        {} if error is None else {error.field or "file": error.sentence},
        "" if error is None else str(error),
    )


def _shown(request: Request, session: Session, person: Tuner, page: RollersPage, status: int = 200) -> HTMLResponse:
    return render(
        request, "dyno/rollers.html", page, session=session, person=person, title="Roller speed", status=status
    )


def _refused(
    request: Request, session: Session, person: Tuner, dyno_id: int, form: RollersForm, error: AppError
) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = _page(session, dyno_id, text_of(form), error=error)
    return _shown(request, session, person, page, error.status)


@router.get("/dynos/{dyno_id:int}/rollers")
def show_rollers(request: Request, dyno_id: int, session: Read, person: Tuner) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = _page(session, dyno_id)
    return _shown(request, session, person, page)


@router.post("/dynos/{dyno_id:int}/rollers/power", max_body_size=UPLOAD_LIMIT)
def compute_power(request: Request, dyno_id: int, form: Multipart, session: Read, person: Tuner) -> HTMLResponse:
    """Shows power and torque of the log; nothing is recorded."""
    view = view_of(request, session, person)
    try:
        pull = pull_of(session, dyno_id, form)
    except AppError as error:
        return _refused(request, session, person, dyno_id, form, error)
    typed = text_of(form) | {"log": carried(pull.data), "log_name": pull.name}
    with writing_as(view):
        page = _page(session, dyno_id, typed, found=power_view(pull.computed, view.units))
    return _shown(request, session, person, page)


@router.post("/dynos/{dyno_id:int}/rollers/power.csv", max_body_size=UPLOAD_LIMIT)
def download_power(request: Request, dyno_id: int, form: Multipart, session: Read, person: Tuner) -> Response:
    """The whole pull as a table in SI units."""
    try:
        pull = pull_of(session, dyno_id, form).computed
    except AppError as error:
        return _refused(request, session, person, dyno_id, form, error)
    columns = {
        "time_s": pull.power.time_s,
        "road_speed_kmh": pull.power.speed_ms * 3.6,
        "power_kw": pull.power.power_kw,
        "power_u_kw": pull.power.power_u_kw,
    }
    torque = pull.torque_nm
    if pull.speed_rpm is not None and torque is not None:
        columns |= {"engine_speed_rpm": pull.speed_rpm, "torque_nm": torque}
    rows = [[round(float(v), 4) if v == v else None for v in row] for row in zip(*columns.values(), strict=True)]
    return csv_download(f"dyno-{dyno_id}-roller-power", list(columns), rows)


@router.post("/dynos/{dyno_id:int}/rollers/pulls", max_body_size=UPLOAD_LIMIT)
def record_pull(
    request: Request, dyno_id: int, form: Multipart, once: OncePerForm, session: Write, person: Tuner, now: Now
) -> Response:
    """The log becomes a pull of a session; what was assumed stays with it."""
    try:
        chosen = read_choice(form.session_id, field="session_id", sentence="Choose the session of this pull.")
        row = dyno.dyno_session(session, chosen)
        if row.dyno_id != dyno_id:
            raise Conflict("That session was made on another dyno.", field="session_id")
        pull = pull_of(session, dyno_id, form)
        if pull.computed.channels is None:
            raise BadInput(
                "A pull of a session needs engine speed: give the ratio and the tyre's radius.", field="ratio"
            )
        with session.begin_nested():
            add_runs(
                session,
                person=person,
                at=now,
                dyno_session_id=row.id,
                uploaded=pull.data,
                file_name=pull.name,
                runs=NewRuns.of_roller_speed(pull.computed),
            )
    except AppError as error:
        return _refused(request, session, person, dyno_id, form, error)
    return see_other(request, session, f"/dyno-sessions/{row.id}#pulls", once)


@router.post("/dynos/{dyno_id:int}/rollers/coast", max_body_size=UPLOAD_LIMIT)
def fit_coast(request: Request, dyno_id: int, form: Multipart, session: Read, person: Tuner) -> HTMLResponse:
    """Fits A, B, C to a coast-down and writes them into the form; nothing is recorded."""
    try:
        place = rollers_of(form.model_copy(update=dict.fromkeys(("a", "b", "c", "a_u", "b_u", "c_u"), "")))
        data, name = read_upload(form.coast, field="coast")
        read = read_log(session, dyno_id, data, place, "coast")
        fit = fit_coast_down(read.time_s, read.omega_rad_s * place.radius_m, mass_kg=mass_of(place))
    except AppError as error:
        error.field = error.field if error.field in RollersForm.model_fields else "coast"
        return _refused(request, session, person, dyno_id, form, error)
    load, (a_u, b_u, c_u) = fit.road_load, fit.standard_errors
    fitted = replace(
        place,
        a_n=load.a_n,
        b_n_per_ms=load.b_n_per_ms,
        c_n_per_ms2=load.c_n_per_ms2,
        a_u=a_u,
        b_u=b_u,
        c_u=c_u,
    )
    told = (
        f"{name}: fitted to {counted(fit.samples, 'sample')}, which scatter by {plain(3.6 * fit.rms_ms, 3)} km/h about "
        f"it. With {fitted.text}. The drag goes in proportion to the inertia."
    )
    with writing_as(view_of(request, session, person)):
        page = _page(session, dyno_id, text_of(form) | typed_from(fitted), coast=told)
    return _shown(request, session, person, page)


@router.post("/dynos/{dyno_id:int}/rollers", max_body_size=UPLOAD_LIMIT)
def keep_rollers(
    request: Request, dyno_id: int, form: Multipart, once: OncePerForm, session: Write, person: Tuner, now: Now
) -> Response:
    try:
        with session.begin_nested():
            describe_rollers(session, person=person, at=now, dyno_id=dyno_id, rollers=rollers_of(form))
    except AppError as error:
        return _refused(request, session, person, dyno_id, form, error)
    return see_other(request, session, f"/dynos/{dyno_id}/rollers", once)
