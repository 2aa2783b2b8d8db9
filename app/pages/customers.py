"""Customers, for managers: who is on record with which cars, and erasing on request."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from app.actions.erase_customer import erase_customer
from app.errors import BadInput
from app.record import customers
from app.record.car_state import vehicle_label
from app.record.tables import Customer, Vehicle
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Manager
from app.web.transaction import Read, Write

router = APIRouter(prefix="/customers")

_MOST = 500


@dataclass(frozen=True, slots=True)
class CustomerRow:
    id: int
    name: str
    contact: str
    made_at: datetime
    erased_at: datetime | None
    cars: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class CustomersPage:
    query: str
    rows: tuple[CustomerRow, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class CustomerPage:
    customer: CustomerRow


class EraseForm(FormModel):
    confirmed: str = ""


def _row(row: Customer, cars: list[Vehicle]) -> CustomerRow:
    return CustomerRow(
        row.id,
        customers.shown_name(row) or "",
        row.contact,
        row.made_at,
        row.erased_at,
        tuple((vehicle_label(car), f"/vehicles/{car.id}") for car in cars),
    )


@router.get("")
def show_list(request: Request, session: Read, person: Manager, q: str = "") -> HTMLResponse:
    found = customers.everyone(session, q)
    page = CustomersPage(q, tuple(_row(*one) for one in found[:_MOST]), len(found) > _MOST)
    return render(request, "customers/list.html", page, session=session, person=person, title="Customers")


@router.get("/{customer_id:int}")
def show(request: Request, customer_id: int, session: Read, person: Manager) -> HTMLResponse:
    row = customers.customer(session, customer_id)
    page = CustomerPage(_row(row, list(customers.cars(session, row.id))))
    return render(request, "customers/page.html", page, session=session, person=person, title="Customer")


@router.post("/{customer_id:int}/erase")
def erase(
    request: Request,
    customer_id: int,
    form: Annotated[EraseForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Manager,
    now: Now,
) -> Response:
    if form.confirmed != "yes":
        raise BadInput("Confirm that the data is to be erased; it cannot be taken back.", field="confirmed")
    erase_customer(session, person=person, at=now, customer_id=customer_id)
    return see_other(request, session, f"/customers/{customer_id}", once)
