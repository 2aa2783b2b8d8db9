"""The first page: find a car, the cars in the shop, what needs a person."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from app.pages.links import page_of
from app.record import attention, car_state, customers, vehicles
from app.record.tables import Person, Vehicle
from app.web.page import render, render_fragment
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that needs a person."""

    severity: str
    vehicle: str
    sentence: str
    action: str
    href: str


# What anybody may go on with; the rest is a tuner's.
_FOR_ALL = frozenset({"identity_check"})


@dataclass(frozen=True, slots=True)
class InShop:
    """A car in the shop."""

    vehicle: str
    href: str
    vin: str
    since: datetime
    reason: str
    on_car: str


@dataclass(frozen=True, slots=True)
class TodayPage:
    waiting: tuple[Waiting, ...]
    in_shop: tuple[InShop, ...]
    pinned: tuple[tuple[str, str], ...]
    unpinned: tuple[str, str] | None
    any_vehicle: bool


@dataclass(frozen=True, slots=True)
class Hit:
    """A car found."""

    href: str
    vehicle: str
    vin: str
    customer: str


@dataclass(frozen=True, slots=True)
class SearchPage:
    query: str
    hits: tuple[Hit, ...]


def waiting_of(items: list[attention.Attention], person: Person) -> tuple[Waiting, ...]:
    """Attention items with the addresses of their cars and of what to do; the front desk is asked to do only what it
    may."""
    return tuple(
        Waiting(
            item.severity,
            item.vehicle,
            item.sentence,
            item.action if person.role != "front_desk" or item.target[0] in _FOR_ALL else "Look at it",
            page_of(item.target) or f"/vehicles/{item.vehicle_id}",
        )
        for item in items
    )


def _in_shop(session: Session) -> tuple[InShop, ...]:
    rows = vehicles.in_the_shop(session)
    units = vehicles.control_units_of(session, [vehicle.id for vehicle, _ in rows])
    states = car_state.on_units(session, [unit.id for unit in units])
    engine = {unit.vehicle_id: states[unit.id] for unit in reversed(units) if unit.role == "engine"}
    found = []
    for vehicle, visit in rows:
        state = engine.get(vehicle.id)
        found.append(
            InShop(
                car_state.vehicle_label(vehicle),
                f"/vehicles/{vehicle.id}",
                vehicle.vin,
                visit.arrived_at,
                visit.reason,
                "No control unit on record yet." if state is None else state.sentence,
            )
        )
    return tuple(found)


def hits(session: Session, query: str, limit: int = 30) -> tuple[Hit, ...]:
    """Cars that the query finds."""
    return tuple(_hit(session, vehicle) for vehicle in vehicles.search(session, query, limit=limit))


def _hit(session: Session, vehicle: Vehicle) -> Hit:
    owner = vehicles.customer(session, vehicle.customer_id)
    return Hit(
        f"/vehicles/{vehicle.id}",
        car_state.vehicle_label(vehicle),
        vehicle.vin,
        customers.shown_name(owner) or "",
    )


def _unpinned(session: Session, vehicle_id: int) -> tuple[str, str] | None:
    """The car that was just let go, as long as it is."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    return None if vehicle.pinned else (car_state.vehicle_label(vehicle), f"/vehicles/{vehicle.id}")


@router.get("/")
def today(request: Request, session: Read, person: Viewer, unpinned: int | None = None) -> HTMLResponse:
    pinned = vehicles.pinned(session)
    page = TodayPage(
        waiting=waiting_of(attention.everywhere(session), person),
        in_shop=_in_shop(session),
        pinned=tuple((car_state.vehicle_label(v), f"/vehicles/{v.id}") for v in pinned),
        unpinned=None if unpinned is None else _unpinned(session, unpinned),
        any_vehicle=bool(vehicles.search(session, "", limit=1)),
    )
    return render(request, "today/page.html", page, session=session, person=person, title="Today")


@router.get("/search")
def search(request: Request, session: Read, person: Viewer, q: str = "") -> Response:
    """Results as a page, or as a list alone for htmx; a single hit opens at once when the form was sent."""
    found = hits(session, q) if q.strip() else ()
    page = SearchPage(q, found)
    if request.headers.get("hx-request") == "true":
        return render_fragment(request, "today/_hits.html", page, session=session, person=person)
    if len(found) == 1:
        return RedirectResponse(found[0].href, status_code=303)
    return render(request, "today/search.html", page, session=session, person=person, title="Search")
