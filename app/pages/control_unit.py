"""A control unit's own page: stock reads, confirmed stock, downloads."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_stock_read import add_stock_read
from app.errors import AppError
from app.readers.image_writer import WriteFormat, write_image
from app.record import images, layouts, stocks, vehicles
from app.record.car_state import on_units, vehicle_label
from app.record.tables import Person, Stock
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, see_other
from app.web.image_upload import read_image_upload
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ReadRow:
    at: datetime
    file_name: str
    format: str
    size: int
    crc32: int
    digest: str
    generation: int
    checksums: str


@dataclass(frozen=True, slots=True)
class StockRow:
    id: int
    generation: int
    at: datetime
    digest: str
    crc32: int
    size: int
    spans: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class ControlUnitPage:
    id: int
    vehicle_id: int
    vehicle: str
    role: str
    on_now: str
    numbers: tuple[tuple[str, str | None], ...]
    stocks: tuple[StockRow, ...]
    reads: tuple[ReadRow, ...]
    waiting: int
    layouts: tuple[tuple[str, str], ...]
    sharing: tuple[tuple[str, str], ...]
    may_tune: bool
    sentence: str
    details: tuple[str, ...]


class ReadForm(FormModel):
    file: Upload = None
    new_generation: str = ""


_MANY = {"holds": "hold", "does not hold": "do not hold"}


def _held(checksums: list[Any]) -> str:
    if not checksums:
        return "not known: no layout for this software"
    states = [one["state"] for one in checksums]
    told = ((states.count(state), state) for state in ("holds", "does not hold", "not known"))
    return ", ".join(f"{count} {state if count == 1 else _MANY.get(state, state)}" for count, state in told if count)


def _stock_row(row: Stock) -> StockRow:
    assert row.sha256 is not None and row.crc32 is not None and row.size is not None and row.spans is not None
    return StockRow(
        row.id, row.generation, row.at, row.sha256, row.crc32, row.size, tuple((a, n) for a, n in row.spans)
    )


def _page(session: Session, unit_id: int, person: Person, error: AppError | None) -> ControlUnitPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    current = stocks.current(session, unit.id)
    digest = None if current is None else current.sha256
    found = layouts.matching(session, software_number=unit.software_number, sha256=digest)
    return ControlUnitPage(
        id=unit.id,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        role=unit.role,
        on_now=on_units(session, [unit.id])[unit.id].sentence,
        numbers=(
            ("Hardware number", unit.hardware_number),
            ("Software number", unit.software_number or None),
            ("Calibration IDs", ", ".join(unit.calibration_ids) or None),
            ("Verification numbers", ", ".join(unit.cvns) or None),
            ("Base address of a raw binary", f"0x{unit.base_address:X}"),
        ),
        stocks=tuple(_stock_row(row) for row in reversed(stocks.generations(session, unit.id))),
        reads=tuple(
            ReadRow(
                row.at,
                row.file_name or "",
                row.file_format or "",
                row.size or 0,
                row.crc32 or 0,
                row.sha256 or "",
                row.generation,
                _held(row.checksums),
            )
            for row in reversed(stocks.reads(session, unit.id))
        ),
        waiting=len(stocks.unconfirmed(session, unit.id)),
        layouts=tuple((f"{one.name} v{one.version}", f"/layouts/{one.id}") for one in found),
        sharing=()
        if digest is None
        else tuple(
            (vehicle_label(other), f"/vehicles/{other.id}")
            for other, _ in stocks.sharing(session, digest)
            if other.id != vehicle.id
        ),
        may_tune=person.role != "front_desk",
        sentence="" if error is None else str(error),
        details=() if error is None else error.details,
    )


@router.get("/control-units/{unit_id:int}")
def show(request: Request, unit_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(session, unit_id, person, None)
    return render(request, "control_units/page.html", page, session=session, person=person, title="Control unit")


@router.post("/control-units/{unit_id:int}/stock-reads", max_body_size=UPLOAD_LIMIT)
def take_read(
    request: Request,
    unit_id: int,
    form: Annotated[ReadForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        file = read_image_upload(request, form.file, lambda reads: vehicles.control_unit(reads, unit_id))
        with session.begin_nested():
            add_stock_read(
                session,
                person=person,
                at=now,
                control_unit_id=unit_id,
                uploaded=file.data,
                file_name=file.label,
                read=file.read,
                new_generation=form.new_generation == "yes",
            )
    except AppError as error:
        page = _page(session, unit_id, person, error)
        return render(
            request,
            "control_units/page.html",
            page,
            session=session,
            person=person,
            title="Control unit",
            status=error.status,
        )
    return see_other(request, session, f"/control-units/{unit_id}", once)


@router.get("/stocks/{stock_id:int}/image")
def download(stock_id: int, session: Read, _person: Tuner, format: WriteFormat = "bin") -> Response:
    row = stocks.stock(session, stock_id)
    data = write_image(images.load(session, row), format)
    return attachment(data, f"stock-{(row.sha256 or '')[:12]}.{format}")
