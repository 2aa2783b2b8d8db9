"""What cars have in common: sister cars by their stock, and what the same change gained on them."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.calc.dyno.correction import STANDARDS
from app.calc.number_text import plain, rpm
from app.record import fleet, fleet_gains
from app.record.car_state import vehicle_label
from app.record.fleet import Family, SharedChange
from app.record.fleet_gains import CarGain, FleetGain
from app.web.page import render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read
from app.web.units_view import UnitsView

router = APIRouter(prefix="/fleet")


@dataclass(frozen=True, slots=True)
class SisterRow:
    vehicle: str
    href: str
    role: str
    on_now: str
    revisions: int


@dataclass(frozen=True, slots=True)
class FamilyView:
    key: str
    title: str
    digest: str
    layout: tuple[str, str] | None
    sisters: tuple[SisterRow, ...]


@dataclass(frozen=True, slots=True)
class ChangeRow:
    href: str
    title: str
    cars: int
    kind: str


@dataclass(frozen=True, slots=True)
class FleetPage:
    families: tuple[FamilyView, ...]
    changes: tuple[ChangeRow, ...]


@dataclass(frozen=True, slots=True)
class CarRow:
    vehicle: str
    href: str
    revision: str
    revision_href: str
    measured_at: datetime | None
    gain: str
    gain_href: str | None
    refusal: str


@dataclass(frozen=True, slots=True)
class ChangePage:
    address: str
    title: str
    against: str
    verdict: str
    figures: tuple[tuple[str, str], ...]
    method: str
    cars: tuple[CarRow, ...]


def _family(family: Family) -> FamilyView:
    layout = family.layout
    return FamilyView(
        key=family.sha256[:12],
        title=f"{family.software_number or 'Software not recorded'}, {family.role} control unit",
        digest=family.sha256,
        layout=None if layout is None else (f"{layout.name} v{layout.version}", f"/layouts/{layout.id}"),
        sisters=tuple(
            SisterRow(
                vehicle_label(one.vehicle), f"/vehicles/{one.vehicle.id}", one.unit.role, one.on_now, one.revisions
            )
            for one in family.sisters
        ),
    )


def _change(change: SharedChange) -> ChangeRow:
    cars = len({row.control_unit_id for row in change.revisions})
    kind = "ported to other base images" if change.ported else "the same image"
    return ChangeRow(f"/fleet/changes/{change.first.id}", change.first.title, cars, kind)


@router.get("")
def show(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    page = FleetPage(
        tuple(_family(one) for one in fleet.families(session)),
        tuple(_change(one) for one in fleet.shared_changes(session)),
    )
    return render(request, "fleet/page.html", page, session=session, person=person, title="Sister cars")


@router.get("/changes/{revision_id:int}")
def show_change(request: Request, revision_id: int, session: Read, person: Viewer) -> HTMLResponse:
    units = view_of(request, session, person).units
    page = _change_page(session, revision_id, units)
    return render(request, "fleet/change.html", page, session=session, person=person, title="The same change")


def _change_page(session: Session, revision_id: int, units: UnitsView) -> ChangePage:
    change = fleet.change_of(session, revision_id)
    found = fleet_gains.of_change(session, change)
    return ChangePage(
        address=f"/fleet/changes/{revision_id}",
        title=change.first.title,
        against="what each revision was made from" if change.ported else "stock",
        verdict=_verdict(found, units),
        figures=_figures(found, units),
        method=_method(found),
        cars=tuple(_car(one, units) for one in found.cars),
    )


def _verdict(found: FleetGain, units: UnitsView) -> str:
    said = found.prediction
    if said is None:
        return found.reason
    low, high = (plain(units.show_difference(v, "power"), 1, sign=True) for v in (said.low, said.high))
    return (
        f"{said.cars} cars gained {units.difference_text(said.mean, 'power')} on average. The next car of this kind, "
        f"measured the same way, is expected between {low} and {high} {units.symbol('power')}."
    )


def _figures(found: FleetGain, units: UnitsView) -> tuple[tuple[str, str], ...]:
    figures = []
    if found.band is not None:
        figures.append(("Band of engine speeds", f"{found.band[0]:,.0f} to {rpm(found.band[1])}"))
    if found.standard is not None:
        figures.append(("Correction", STANDARDS[found.standard]))
    if found.prediction is not None:
        said = found.prediction
        figures.append(("Mean of the cars", units.difference_text(said.mean, "power")))
        spread = f"{plain(units.show_difference(said.deviation, 'power'), 1)} {units.symbol('power')}"
        figures.append(("Scatter from car to car (standard deviation)", spread))
    return tuple(figures)


def _method(found: FleetGain) -> str:
    if found.prediction is None:
        return ""
    return (
        f"95 % prediction interval for one further car from {found.prediction.cars} cars (Student t), the gain "
        "averaged over the band that all of them cover. It takes the cars for a fair sample of their kind."
    )


def _car(one: CarGain, units: UnitsView) -> CarRow:
    gain, address = "not told", None
    if one.average is not None:
        gain = units.difference_text(one.average.gain_kw, "power", one.average.half_kw)
    if one.before is not None and one.after is not None:
        address = f"/gains?from={one.before.id}&to={one.after.id}"
    return CarRow(
        vehicle_label(one.vehicle),
        f"/vehicles/{one.vehicle.id}",
        f"Revision {one.revision.number} “{one.revision.title}”",
        f"/revisions/{one.revision.id}",
        None if one.after is None else one.after.measured_at,
        gain,
        address,
        one.refusal,
    )
