"""Change what is on record about a car and whose it is."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.change_customer import change_customer
from app.actions.change_vehicle import change_vehicle
from app.errors import AppError, BadInput
from app.pages.vehicle.forms import AXLES, FUELS, YES_NO, ChangeForm, as_typed, details_of
from app.record import vehicle_details, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import FrontDesk
from app.web.transaction import Read, Write

router = APIRouter()


@dataclass(frozen=True, slots=True)
class EditPage:
    vehicle_id: int
    vehicle: str
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    seen_at: str
    may_weighty: bool
    fuels: tuple[tuple[str, str], ...]
    axles: tuple[tuple[str, str], ...]
    yes_no: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class CustomerFormPage:
    vehicle_id: int
    vehicle: str
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    known: bool
    erased: bool


class CustomerForm(FormModel):
    customer_name: str = ""
    customer_contact: str = ""
    another: str = ""


# API field → field of the form, for errors of the record.
_FIELDS = {"rated_power_kw": "rated_power", "rated_torque_nm": "rated_torque", "test_mass_kg": "test_mass"}
_FIELDS |= {"tyre_radius_m": "tyre_radius"}


def _edit_page(
    request: Request,
    session: Session,
    person: Person,
    vehicle_id: int,
    form: ChangeForm | None = None,
    error: AppError | None = None,
) -> EditPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    known = vehicle_details.of_row(vehicle)
    values = as_typed(known, view_of(request, session, person).units) | {"reason": ""}
    if form is not None:
        values |= text_of(form)
    field = None if error is None else _FIELDS.get(error.field or "", error.field)
    return EditPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        values=values,
        errors={} if error is None else {field or "vin": error.sentence},
        sentence="" if error is None else error.sentence,
        seen_at=vehicle.changed_at.isoformat() if form is None else form.seen_at,
        may_weighty=person.role != "front_desk",
        fuels=FUELS,
        axles=AXLES,
        yes_no=YES_NO,
    )


@router.get("/vehicles/{vehicle_id:int}/edit")
def show_edit(request: Request, vehicle_id: int, session: Read, person: FrontDesk) -> HTMLResponse:
    page = _edit_page(request, session, person, vehicle_id)
    return render(request, "vehicles/edit.html", page, session=session, person=person, title="Change details")


@router.post("/vehicles/{vehicle_id:int}/edit")
def edit(
    request: Request,
    vehicle_id: int,
    form: Annotated[ChangeForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    try:
        known = vehicle_details.of_row(vehicles.vehicle(session, vehicle_id))
        wanted = details_of(form, view_of(request, session, person).units, known)
        with session.begin_nested():
            change_vehicle(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                wanted=wanted,
                reason=form.reason,
                seen_at=_moment(form.seen_at),
            )
    except AppError as error:
        page = _edit_page(request, session, person, vehicle_id, form, error)
        return render(
            request,
            "vehicles/edit.html",
            page,
            session=session,
            person=person,
            title="Change details",
            status=error.status,
        )
    return see_other(request, session, f"/vehicles/{vehicle_id}", once)


def _moment(text: str) -> datetime:
    """The moment that the form carries; an offset is part of it."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise BadInput("This form has lost the moment it was opened; load the page again.") from None
    if moment.tzinfo is None:
        raise BadInput("This form has lost the moment it was opened; load the page again.")
    return moment


def _customer_page(
    session: Session, vehicle_id: int, form: CustomerForm | None = None, error: AppError | None = None
) -> CustomerFormPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    owner = vehicles.customer(session, vehicle.customer_id)
    values = {
        "customer_name": "" if owner is None else owner.name,
        "customer_contact": "" if owner is None else owner.contact,
        "another": "no",
    }
    return CustomerFormPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        values=values if form is None else text_of(form),
        errors={} if error is None else {error.field or "customer_name": error.sentence},
        sentence="" if error is None else error.sentence,
        known=owner is not None and owner.erased_at is None,
        erased=owner is not None and owner.erased_at is not None,
    )


@router.get("/vehicles/{vehicle_id:int}/customer")
def show_customer(request: Request, vehicle_id: int, session: Read, person: FrontDesk) -> HTMLResponse:
    page = _customer_page(session, vehicle_id)
    return render(request, "vehicles/customer.html", page, session=session, person=person, title="Customer")


@router.post("/vehicles/{vehicle_id:int}/customer")
def set_customer(
    request: Request,
    vehicle_id: int,
    form: Annotated[CustomerForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            change_customer(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                name=form.customer_name,
                contact=form.customer_contact,
                another=form.another == "yes",
            )
    except AppError as error:
        page = _customer_page(session, vehicle_id, form, error)
        return render(
            request,
            "vehicles/customer.html",
            page,
            session=session,
            person=person,
            title="Customer",
            status=error.status,
        )
    return see_other(request, session, f"/vehicles/{vehicle_id}", once)
