"""Routes of the vehicle pages."""

from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.actions.add_control_unit import add_control_unit
from app.actions.pin_vehicle import pin_vehicle
from app.actions.register_vehicle import register_vehicle
from app.calc.calibration.address_text import address_of
from app.errors import AppError, BadInput, NotFound
from app.pages.today import Hit, hits
from app.pages.vehicle.forms import AXLES, FUELS, YES_NO, VehicleForm, new_vehicle
from app.pages.vehicle.views import vehicle_page
from app.record import vehicles
from app.record.car_state import vehicle_label
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of, writing_as
from app.web.signed_in import FrontDesk, Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter()

ROLES = (
    ("engine", "Engine"),
    ("transmission", "Transmission"),
    ("hybrid drive", "Hybrid drive"),
    ("body", "Body"),
    ("other", "Other"),
)


@dataclass(frozen=True, slots=True)
class VehicleListPage:
    query: str
    hits: tuple[Hit, ...]
    may_import: bool
    may_erase: bool


@dataclass(frozen=True, slots=True)
class RegisterPage:
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    fuels: tuple[tuple[str, str], ...]
    axles: tuple[tuple[str, str], ...]
    yes_no: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class UnitFormPage:
    vehicle_id: int
    vehicle: str
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    roles: tuple[tuple[str, str], ...]


class UnitForm(FormModel):
    role: str = "engine"
    hardware_number: str = ""
    software_number: str = ""
    calibration_ids: str = ""
    cvns: str = ""
    base_address: str = ""


class PinForm(FormModel):
    """`back`: the page that the person came from and wants to see again."""

    back: Literal["", "today"] = ""


@router.get("/vehicles")
def show_list(request: Request, session: Read, person: Viewer, q: str = "") -> HTMLResponse:
    page = VehicleListPage(q, hits(session, q, limit=200), person.role != "front_desk", person.role == "manager")
    return render(request, "vehicles/list.html", page, session=session, person=person, title="Vehicles")


@router.get("/vehicles/new")
def show_register(request: Request, session: Read, person: FrontDesk) -> HTMLResponse:
    page = RegisterPage(text_of(VehicleForm()), {}, "", FUELS, AXLES, YES_NO)
    return render(request, "vehicles/new.html", page, session=session, person=person, title="Register a car")


@router.post("/vehicles")
def register(
    request: Request,
    form: Annotated[VehicleForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    try:
        car = new_vehicle(form, view_of(request, session, person).units)
        with session.begin_nested():
            vehicle = register_vehicle(session, person=person, at=now, car=car)
    except AppError as error:
        errors = {error.field or "vin": error.sentence}
        page = RegisterPage(text_of(form), errors, error.sentence, FUELS, AXLES, YES_NO)
        return render(
            request,
            "vehicles/new.html",
            page,
            session=session,
            person=person,
            title="Register a car",
            status=error.status,
        )
    return see_other(request, session, f"/vehicles/{vehicle.id}", once)


@router.get("/vehicles/{vehicle_id:int}")
def show(
    request: Request,
    vehicle_id: int,
    session: Read,
    person: Viewer,
    topic: str | None = None,
    before: int | None = None,
    recognised: Annotated[list[int] | None, Query()] = None,
    done: str = "",
) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = vehicle_page(
            session, vehicle_id, person, topic=topic, before=before, recognised=recognised or (), done=done
        )
    return render(request, "vehicles/page.html", page, session=session, person=person, title=page.label)


@router.get("/vehicles/{vehicle_id:int}/control-units/new")
def show_unit_form(request: Request, vehicle_id: int, session: Read, person: Tuner) -> HTMLResponse:
    page = _unit_form(session, vehicle_id, UnitForm(), None)
    return render(request, "vehicles/unit_new.html", page, session=session, person=person, title="Add a control unit")


def _unit_form(session: Read, vehicle_id: int, form: UnitForm, error: AppError | None) -> UnitFormPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    errors = {} if error is None else {error.field or "hardware_number": error.sentence}
    return UnitFormPage(
        vehicle.id, vehicle_label(vehicle), text_of(form), errors, "" if error is None else error.sentence, ROLES
    )


@router.post("/vehicles/{vehicle_id:int}/control-units")
def add_unit(
    request: Request,
    vehicle_id: int,
    form: Annotated[UnitForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            unit = add_control_unit(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                role=form.role,
                hardware_number=form.hardware_number,
                software_number=form.software_number,
                calibration_ids=form.calibration_ids.replace(",", "\n").splitlines(),
                cvns=form.cvns.replace(",", " ").split(),
                base_address=_address(form.base_address),
            )
    except AppError as error:
        page = _unit_form(session, vehicle_id, form, error)
        return render(
            request,
            "vehicles/unit_new.html",
            page,
            session=session,
            person=person,
            title="Add a control unit",
            status=error.status,
        )
    return see_other(request, session, f"/control-units/{unit.id}", once)


def _address(text: str) -> int:
    if not text.strip():
        return 0
    address = address_of(text, "base_address")
    if address >= 2**32:
        raise BadInput("The base address lies beyond 32 bits; write it like 0x80000000.", field="base_address")
    return address


@router.post("/vehicles/{vehicle_id:int}/pin")
def pin(
    request: Request,
    vehicle_id: int,
    form: Annotated[PinForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Viewer,
    now: Now,
) -> Response:
    vehicle = pin_vehicle(session, person=person, at=now, vehicle_id=vehicle_id)
    if form.back == "today":
        return see_other(request, session, "/" if vehicle.pinned else f"/?unpinned={vehicle.id}", once)
    word = "pinned" if vehicle.pinned else "unpinned"
    return see_other(request, session, f"/vehicles/{vehicle.id}?done={word}", once)


@router.get("/vehicles/by-vin/{vin}")
def by_vin(vin: str, session: Read, _person: Viewer) -> Response:
    """The address on a key tag's label."""
    found = vehicles.by_vin(session, vin.upper())
    if found is None:
        raise NotFound("No car with this VIN is on record.")
    return RedirectResponse(f"/vehicles/{found.id}", status_code=303)
