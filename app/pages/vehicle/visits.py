"""The car arrives and leaves."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.begin_visit import begin_visit
from app.actions.end_visit import end_visit
from app.actions.reopen_visit import reopen_visit
from app.errors import AppError
from app.pages.intake_view import IntakeTyped, intake_page
from app.pages.vehicle.forms import ODOMETER, in_si
from app.pages.vehicle.views import vehicle_page
from app.record import vehicles
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import day, render, view_of, writing_as
from app.web.signed_in import FrontDesk
from app.web.transaction import Write
from app.web.units_view import UnitsView

router = APIRouter()


class VisitForm(FormModel):
    """`back`: the intake page, whose next step the person goes on to."""

    reason: str = ""
    odometer: str = ""
    back: Literal["", "intake"] = ""


class BareForm(FormModel):
    """A form that carries nothing but its key."""


@router.post("/vehicles/{vehicle_id:int}/visits")
def arrive(
    request: Request,
    vehicle_id: int,
    form: Annotated[VisitForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    view = view_of(request, session, person)
    odometer: float | None = None
    try:
        odometer = in_si(form.odometer, ODOMETER, view.units)
        with session.begin_nested():
            begin_visit(session, person=person, at=now, vehicle_id=vehicle_id, reason=form.reason, odometer_km=odometer)
    except AppError as error:
        with writing_as(view):
            sentence = _said(session, vehicle_id, odometer, error, view.units)
            return _refused(request, session, vehicle_id, person, form, error.status, sentence)
    where = "/intake#identity" if form.back == "intake" else ""
    return see_other(request, session, f"/vehicles/{vehicle_id}{where}", once)


def _said(session: Session, vehicle_id: int, odometer: float | None, error: AppError, units: UnitsView) -> str:
    """Why the arrival was refused, readings in the reader's units."""
    last = vehicles.odometer_km(session, vehicle_id)
    if error.field != "odometer_km" or odometer is None or last is None:
        return error.sentence
    return (
        f"The odometer shows {units.text(odometer, 'distance')}, but {units.text(last[0], 'distance')} were read on "
        f"{day(last[1])}; check the reading, or leave it empty and note why."
    )


def _refused(
    request: Request, session: Session, vehicle_id: int, person: Person, form: VisitForm, status: int, sentence: str
) -> HTMLResponse:
    if form.back == "intake":
        intake = intake_page(session, vehicle_id, person, IntakeTyped(visit=text_of(form), visit_refused=sentence))
        return render(
            request, "intake/page.html", intake, session=session, person=person, title="Intake", status=status
        )
    page = vehicle_page(session, vehicle_id, person, visit=text_of(form), visit_sentence=sentence)
    return render(request, "vehicles/page.html", page, session=session, person=person, title=page.label, status=status)


@router.post("/vehicles/{vehicle_id:int}/leave")
def leave(
    request: Request,
    vehicle_id: int,
    _form: Annotated[BareForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    end_visit(session, person=person, at=now, vehicle_id=vehicle_id)
    return see_other(request, session, f"/vehicles/{vehicle_id}?done=left", once)


@router.post("/vehicles/{vehicle_id:int}/reopen")
def reopen(
    request: Request,
    vehicle_id: int,
    _form: Annotated[BareForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    """Takes back a handover that was recorded by mistake."""
    reopen_visit(session, person=person, at=now, vehicle_id=vehicle_id)
    return see_other(request, session, f"/vehicles/{vehicle_id}", once)
