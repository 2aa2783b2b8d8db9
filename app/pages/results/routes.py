"""Routes of strip runs and economy trials."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.attribute import Result
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_strip_run import record_strip_run
from app.errors import AppError, BadInput
from app.pages.attribution import AttributionForm, attribute_as_typed, refused_correction
from app.pages.results.figures import LABELS
from app.pages.results.view import Typed, results_page
from app.record import results
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, read_number, see_other, text_of
from app.web.moments import read_moment
from app.web.now import Now
from app.web.page import View, render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter()


class StripForm(FormModel):
    """A slip as typed: times in seconds, speeds in the reader's unit."""

    et_60ft_s: str = ""
    et_330ft_s: str = ""
    et_660ft_s: str = ""
    trap_660ft_kmh: str = ""
    et_1000ft_s: str = ""
    et_1320ft_s: str = ""
    trap_1320ft_kmh: str = ""
    t_0_60mph_s: str = ""
    t_0_100kmh_s: str = ""
    place: str = ""
    how: str = ""
    note: str = ""
    run_at: str = ""


class TrialForm(FormModel):
    distance: str = ""
    fuel: str = ""
    conditions: str = ""
    driven_at: str = ""


def _figures(form: StripForm, view: View) -> dict[str, float]:
    found = {}
    for name, label in LABELS.items():
        typed = read_number(getattr(form, name), field=name, label=label, lowest=0)
        if typed is not None:
            found[name] = view.units.read(typed, "vehicle speed") if name.endswith("_kmh") else typed
    return found


def _refused(
    request: Request, session: Session, person: Person, vehicle_id: int, values: dict[str, str], error: AppError
) -> HTMLResponse:
    # An act names the record's field; the form has its own names for three of them.
    renamed = {"distance_km": "distance", "fuel_l": "fuel", "results": "et_60ft_s"}
    field = renamed.get(error.field or "", error.field or "")
    typed = Typed(values, {field: error.sentence} if field else {}, error.sentence)
    return _shown_again(request, session, person, vehicle_id, typed, error)


def _refused_correction(
    request: Request, session: Session, person: Person, vehicle_id: int, form: AttributionForm, error: AppError
) -> HTMLResponse:
    typed = Typed(sentence=error.sentence, correction=refused_correction(request.url.path, form, error))
    return _shown_again(request, session, person, vehicle_id, typed, error)


def _shown_again(
    request: Request, session: Session, person: Person, vehicle_id: int, typed: Typed, error: AppError
) -> HTMLResponse:
    page = results_page(session, vehicle_id, person, view_of(request, session, person), typed=typed)
    return render(
        request,
        "results/page.html",
        page,
        session=session,
        person=person,
        title="Strip and economy",
        status=error.status,
    )


@router.get("/vehicles/{vehicle_id:int}/results")
def show_results(
    request: Request,
    vehicle_id: int,
    session: Read,
    person: Viewer,
    before: Annotated[str, Query(max_length=200)] = "",
    after: Annotated[str, Query(max_length=200)] = "",
) -> HTMLResponse:
    view = view_of(request, session, person)
    page = results_page(session, vehicle_id, person, view, before=before, after=after)
    return render(request, "results/page.html", page, session=session, person=person, title="Strip and economy")


@router.post("/vehicles/{vehicle_id:int}/strip-runs")
def take_strip_run(
    request: Request,
    vehicle_id: int,
    form: Annotated[StripForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    view = view_of(request, session, person)
    try:
        figures = _figures(form, view)
        run_at = read_moment(form.run_at, view.zone, now=now, field="run_at", label="The run's time")
        with session.begin_nested():
            record_strip_run(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                results=figures,
                place=form.place,
                how=form.how,
                note=form.note,
                run_at=run_at,
            )
    except AppError as error:
        return _refused(request, session, person, vehicle_id, text_of(form), error)
    return see_other(request, session, f"/vehicles/{vehicle_id}/results#strip", once)


@router.post("/vehicles/{vehicle_id:int}/economy-trials")
def take_trial(
    request: Request,
    vehicle_id: int,
    form: Annotated[TrialForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    view = view_of(request, session, person)
    try:
        distance = read_number(form.distance, field="distance", label="Distance", lowest=0)
        fuel = read_number(form.fuel, field="fuel", label="Fuel", lowest=0, unit=view.units.symbol("volume"))
        if distance is None or fuel is None:
            missing = "distance" if distance is None else "fuel"
            raise BadInput("Write distance and fuel: both make the trial.", field=missing)
        driven_at = read_moment(form.driven_at, view.zone, now=now, field="driven_at", label="The trial's time")
        with session.begin_nested():
            record_economy_trial(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                distance_km=view.units.read(distance, "distance"),
                fuel_l=view.units.read(fuel, "volume"),
                conditions=form.conditions,
                driven_at=driven_at,
            )
    except AppError as error:
        return _refused(request, session, person, vehicle_id, text_of(form), error)
    return see_other(request, session, f"/vehicles/{vehicle_id}/results#economy", once)


@router.post("/strip-runs/{run_id:int}/attribution")
def attribute_strip_run(
    request: Request,
    run_id: int,
    form: Annotated[AttributionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    vehicle_id = results.strip_run(session, run_id).vehicle_id
    try:
        attribute_as_typed(session, person, now, form, Result(strip_run_id=run_id))
    except AppError as error:
        return _refused_correction(request, session, person, vehicle_id, form, error)
    return see_other(request, session, f"/vehicles/{vehicle_id}/results#strip", once)


@router.post("/economy-trials/{trial_id:int}/attribution")
def attribute_trial(
    request: Request,
    trial_id: int,
    form: Annotated[AttributionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    vehicle_id = results.economy_trial(session, trial_id).vehicle_id
    try:
        attribute_as_typed(session, person, now, form, Result(economy_trial_id=trial_id))
    except AppError as error:
        return _refused_correction(request, session, person, vehicle_id, form, error)
    return see_other(request, session, f"/vehicles/{vehicle_id}/results#economy", once)
