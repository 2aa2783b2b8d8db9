"""Option coding: snapshots of a car, and two of them compared by module and key."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.keep_coding import keep_coding
from app.calc.vehicle.coding import CodingChange, compare
from app.errors import AppError
from app.readers.coding import read_coding
from app.record import codings, flashes, vehicles
from app.record.car_state import vehicle_label
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SnapshotRow:
    id: int
    at: datetime
    occasion: str
    modules: int
    keys: int
    digest: str
    compare_href: str | None


@dataclass(frozen=True, slots=True)
class CodingPage:
    vehicle_id: int
    vehicle: str
    snapshots: tuple[SnapshotRow, ...]
    occasion: str
    pasted: str
    sentence: str


@dataclass(frozen=True, slots=True)
class SnapshotPage:
    id: int
    vehicle_id: int
    vehicle: str
    at: datetime
    occasion: str
    digest: str
    modules: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


@dataclass(frozen=True, slots=True)
class ComparisonPage:
    address: str
    vehicle_id: int
    vehicle: str
    equal: bool
    sentence: str
    first: str
    second: str
    rows: tuple[tuple[str, str, str, str, str, str], ...]


class CodingForm(FormModel):
    file: Upload = None
    text: str = ""
    occasion: str = "as found"


def _page(session: Session, vehicle_id: int, form: CodingForm, sentence: str) -> CodingPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    rows = flashes.coding_snapshots(session, vehicle.id)
    older: list[int | None] = [*(row.id for row in rows[1:]), None] if rows else []
    return CodingPage(
        vehicle.id,
        vehicle_label(vehicle),
        tuple(
            SnapshotRow(
                row.id,
                row.at,
                row.occasion,
                row.modules,
                row.keys,
                row.digest,
                None if before is None else f"/coding-snapshots/{before}/compare/{row.id}",
            )
            for row, before in zip(rows, older, strict=True)
        ),
        form.occasion,
        form.text,
        sentence,
    )


@router.get("/vehicles/{vehicle_id:int}/coding")
def show(request: Request, vehicle_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(session, vehicle_id, CodingForm(), "")
    return render(request, "coding/list.html", page, session=session, person=person, title="Option coding")


@router.post("/vehicles/{vehicle_id:int}/coding", max_body_size=UPLOAD_LIMIT)
def take(
    request: Request,
    vehicle_id: int,
    form: Annotated[CodingForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        data, label = (form.text.encode(), "pasted") if form.text else read_upload(form.file, field="file")
        coding = read_coding(data)
        with session.begin_nested():
            row = keep_coding(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                coding=coding,
                occasion=form.occasion,
                uploaded=data,
                file_name=label,
            )
    except AppError as error:
        page = _page(session, vehicle_id, form, str(error))
        return render(
            request,
            "coding/list.html",
            page,
            session=session,
            person=person,
            title="Option coding",
            status=error.status,
        )
    return see_other(request, session, f"/coding-snapshots/{row.id}", once)


@router.get("/coding-snapshots/{snapshot_id:int}")
def show_snapshot(request: Request, snapshot_id: int, session: Read, person: Viewer) -> HTMLResponse:
    row = flashes.coding_snapshot(session, snapshot_id)
    vehicle = vehicles.vehicle(session, row.vehicle_id)
    modules = codings.load(session, row).modules
    page = SnapshotPage(row.id, vehicle.id, vehicle_label(vehicle), row.at, row.occasion, row.digest, modules)
    return render(request, "coding/snapshot.html", page, session=session, person=person, title="Coding snapshot")


@router.get("/coding-snapshots/{first_id:int}/compare/{second_id:int}")
def show_comparison(request: Request, first_id: int, second_id: int, session: Read, person: Viewer) -> HTMLResponse:
    first, second = flashes.coding_snapshot(session, first_id), flashes.coding_snapshot(session, second_id)
    vehicle = vehicles.vehicle(session, second.vehicle_id)
    comparison = compare(codings.load(session, first), codings.load(session, second))
    page = ComparisonPage(
        f"/coding-snapshots/{first.id}/compare/{second.id}",
        vehicle.id,
        vehicle_label(vehicle),
        comparison.equal,
        comparison.sentence,
        f"{first.occasion}",
        f"{second.occasion}",
        tuple(coding_row(change) for change in comparison.changes),
    )
    return render(request, "coding/compare.html", page, session=session, person=person, title="Coding compared")


def coding_row(change: CodingChange) -> tuple[str, str, str, str, str, str]:
    """One difference in words: module, key, kind, before, after, and which bytes and bits."""
    bits = "; ".join(
        f"byte {one.index}: {_hex(one.before)} → {_hex(one.after)}"
        + (f" (bit {', '.join(str(bit) for bit in one.bits)})" if one.bits else "")
        for one in change.byte_changes
    )
    return (change.module, change.key, change.kind, change.before or "none", change.after or "none", bits or "none")


def _hex(value: int | None) -> str:
    return "none" if value is None else f"{value:02X}"
