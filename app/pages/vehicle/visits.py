"""The car arrives and leaves."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.begin_visit import begin_visit
from app.actions.end_visit import end_visit
from app.errors import AppError
from app.pages.intake_view import IntakeTyped, intake_page
from app.pages.vehicle.forms import ODOMETER, in_si
from app.pages.vehicle.views import vehicle_page
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of, writing_as
from app.web.signed_in import FrontDesk
from app.web.transaction import Write

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
    try:
        with session.begin_nested():
            odometer = in_si(form.odometer, ODOMETER, view.units)
            begin_visit(session, person=person, at=now, vehicle_id=vehicle_id, reason=form.reason, odometer_km=odometer)
    except AppError as error:
        with writing_as(view):
            return _refused(request, session, vehicle_id, person, form, error)
    where = "/intake#identity" if form.back == "intake" else ""
    return see_other(request, session, f"/vehicles/{vehicle_id}{where}", once)


def _refused(
    request: Request, session: Session, vehicle_id: int, person: Person, form: VisitForm, error: AppError
) -> HTMLResponse:
    if form.back == "intake":
        intake = intake_page(
            session, vehicle_id, person, IntakeTyped(visit=text_of(form), visit_refused=error.sentence)
        )
        return render(
            request, "intake/page.html", intake, session=session, person=person, title="Intake", status=error.status
        )
    page = vehicle_page(session, vehicle_id, person, visit=text_of(form), visit_sentence=error.sentence)
    return render(
        request, "vehicles/page.html", page, session=session, person=person, title=page.label, status=error.status
    )


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
    return see_other(request, session, f"/vehicles/{vehicle_id}", once)
