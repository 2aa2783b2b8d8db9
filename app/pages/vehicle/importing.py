"""Take over cars from a list: look at what would be done, line by line, then confirm."""

import base64
import binascii
import hashlib
import zlib
from collections import Counter
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from app.actions.import_vehicles import import_vehicles
from app.errors import AppError, BadInput
from app.readers.vehicle_list import MAX_BYTES, read_vehicle_list, vehicle_list_template
from app.record import vehicle_import
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(prefix="/vehicles/import")

# The list travels with the confirmation inside the page, packed: it is not stored before somebody has said yes.
_PACKED_LIMIT = 900 * 1024
_SHOWN = 500


@dataclass(frozen=True, slots=True)
class ImportRow:
    line: int
    vin: str
    car: str
    outcome: str
    state: str
    sentence: str
    href: str | None


@dataclass(frozen=True, slots=True)
class ImportPage:
    sentence: str
    where: str
    file_name: str
    packed: str
    new: int
    known: int
    refused: int
    rows: tuple[ImportRow, ...]
    left_out: int
    unused: tuple[str, ...]


class ListForm(FormModel):
    file: Upload = None


class ConfirmForm(FormModel):
    packed: str = ""
    file_name: str = ""


_STATES = {"new": "ok", "known": "info", "refused": "attention"}


def _empty(error: AppError | None = None) -> ImportPage:
    """The page without a list, or with the sentence why one was refused."""
    sentence, where = ("", "") if error is None else (error.sentence, error.where or "")
    return ImportPage(sentence, where, "", "", 0, 0, 0, (), 0, ())


def _preview(session: Read, data: bytes, file_name: str) -> ImportPage:
    listed = read_vehicle_list(data)
    planned = vehicle_import.plan(session, listed.rows)
    counts = Counter(one.outcome for one in planned)
    # What was refused comes first: it is what a person must look at.
    ordered = sorted(planned, key=lambda one: (one.outcome != "refused", one.outcome != "known", one.line))
    rows = tuple(
        ImportRow(
            one.line,
            one.vin,
            one.car,
            one.outcome,
            _STATES[one.outcome],
            one.sentence,
            None if one.vehicle_id is None else f"/vehicles/{one.vehicle_id}",
        )
        for one in ordered[:_SHOWN]
    )
    packed = _pack(data) if counts["new"] else ""
    return ImportPage(
        "",
        "",
        file_name,
        packed,
        counts["new"],
        counts["known"],
        counts["refused"],
        rows,
        len(ordered) - len(rows),
        listed.unused,
    )


def _pack(data: bytes) -> str:
    packed = base64.b64encode(zlib.compress(data, 9)).decode()
    if len(packed) > _PACKED_LIMIT:
        raise BadInput("This list is too long to be confirmed at once; split it into two files.", field="file")
    return packed


def _unpack(packed: str) -> bytes:
    try:
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(base64.b64decode(packed, validate=True), MAX_BYTES + 1)
    except (binascii.Error, ValueError, zlib.error):
        raise BadInput("The list got lost on its way; choose the file again.", field="file") from None
    if not unpacker.eof or len(data) > MAX_BYTES:
        raise BadInput("The list got lost on its way; choose the file again.", field="file")
    return data


@router.get("")
def show(request: Request, session: Read, person: Tuner) -> HTMLResponse:
    return render(request, "vehicles/import.html", _empty(), session=session, person=person, title="Import cars")


@router.get("/template.csv")
def template(_person: Tuner) -> Response:
    return attachment(vehicle_list_template(), "vehicle-list-template.csv", "text/csv; charset=utf-8")


@router.post("/preview", max_body_size=UPLOAD_LIMIT)
def preview(
    request: Request,
    form: Annotated[ListForm, Form(media_type="multipart/form-data")],
    session: Read,
    person: Tuner,
) -> HTMLResponse:
    """Answers with the page itself: nothing is stored yet, so there is no address to lead to."""
    status = 200
    try:
        data, label = read_upload(form.file, field="file", limit=MAX_BYTES)
        page = _preview(session, data, label)
    except AppError as error:
        page = _empty(error)
        status = error.status
    return render(
        request, "vehicles/import.html", page, session=session, person=person, title="Import cars", status=status
    )


@router.post("")
def confirm(
    request: Request,
    form: Annotated[ConfirmForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        data = _unpack(form.packed)
        with session.begin_nested():
            import_vehicles(
                session,
                person=person,
                at=now,
                listed=read_vehicle_list(data),
                digest=hashlib.sha256(data).hexdigest(),
            )
    except AppError as error:
        page = _empty(error)
        return render(
            request,
            "vehicles/import.html",
            page,
            session=session,
            person=person,
            title="Import cars",
            status=error.status,
        )
    return see_other(request, session, "/vehicles", once)
