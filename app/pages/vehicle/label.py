"""The label for a key tag: plate, VIN and a code that opens the car's page."""

from dataclasses import dataclass
from urllib.parse import quote, urlsplit

import segno
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from app.record import vehicles
from app.settings import Settings
from app.web.guard import is_loopback
from app.web.page import render
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()


@dataclass(frozen=True, slots=True)
class LabelPage:
    vehicle_id: int
    vehicle: str
    plate: str
    vin: str
    address: str
    local: bool
    code: Markup


def code_of(address: str) -> Markup:
    """The address as a QR code (ISO/IEC 18004), inline SVG without style attributes; level M survives a scratched
    tag: about 15 % of the code words may be lost."""
    made = segno.make(address, error="m", micro=False)
    svg = made.svg_inline(
        title="Code that opens the car's page",
        svgclass="key-tag-code",
        lineclass=None,
        border=4,
        omitsize=True,
        dark="#000000",
        light="#ffffff",
    )
    return Markup(svg)  # noqa: S704  # made here from modules, not from what somebody typed


@router.get("/vehicles/{vehicle_id:int}/label")
def show(request: Request, vehicle_id: int, session: Read, person: Viewer) -> HTMLResponse:
    vehicle = vehicles.vehicle(session, vehicle_id)
    settings: Settings = request.app.state.settings
    base = settings.base_url or str(request.base_url).rstrip("/")
    address = f"{base}/vehicles/by-vin/{quote(vehicle.vin)}"
    page = LabelPage(
        vehicle.id,
        f"{vehicle.make} {vehicle.model}",
        vehicle.plate,
        vehicle.vin,
        address,
        is_loopback(urlsplit(base).hostname or ""),
        code_of(address),
    )
    return render(request, "vehicles/label.html", page, session=session, person=person, title="Key tag label")
