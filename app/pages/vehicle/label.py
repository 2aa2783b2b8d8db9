"""The label for a key tag: plate, VIN and a code that opens the car's page."""

from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from app.record import vehicles
from app.settings import Settings
from app.web.guard import is_loopback
from app.web.page import render
from app.web.qr_code import qr_code
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
        qr_code(address, title="Code that opens the car's page", css_class="key-tag-code"),
    )
    return render(request, "vehicles/label.html", page, session=session, person=person, title="Key tag label")
