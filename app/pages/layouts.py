"""Layouts: upload, look through, download our table's template."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_layout import add_layout
from app.calc.calibration.layout import CATEGORIES, MapDefinition
from app.errors import AppError
from app.readers.layout import read_layout
from app.readers.layout_csv import layout_csv_template
from app.record import layouts
from app.record.tables import Layout
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(prefix="/layouts")
PAGE = 100


@dataclass(frozen=True, slots=True)
class LayoutRow:
    href: str
    name: str
    version: int
    software: str
    maps: int
    checksums: int
    at: datetime
    source: str


@dataclass(frozen=True, slots=True)
class LayoutsPage:
    rows: tuple[LayoutRow, ...]
    name: str
    software_number: str
    sentence: str
    ask_byte_order: bool


@dataclass(frozen=True, slots=True)
class MapRow:
    name: str
    category: str
    kind: str
    shape: str
    address: int
    unit: str
    description: str


@dataclass(frozen=True, slots=True)
class LayoutPage:
    row: LayoutRow
    note: str
    findings: tuple[str, ...]
    versions: tuple[tuple[str, str, bool], ...]
    query: str
    category: str
    categories: tuple[tuple[str, str], ...]
    total: int
    maps: tuple[MapRow, ...]
    earlier: str | None
    later: str | None
    checksums: tuple[tuple[str, str, str, str], ...]
    volatile: tuple[tuple[str, str], ...]


class LayoutForm(FormModel):
    file: Upload = None
    name: str = ""
    software_number: str = ""
    legacy_byte_order: str = ""


def _row(row: Layout) -> LayoutRow:
    return LayoutRow(
        f"/layouts/{row.id}",
        row.name,
        row.version,
        row.software_number or "not stated",
        row.map_count,
        row.checksum_count,
        row.at,
        row.source,
    )


def _list(session: Session, form: LayoutForm, error: AppError | None) -> LayoutsPage:
    return LayoutsPage(
        tuple(_row(row) for row in layouts.newest(session)),
        form.name,
        form.software_number,
        "" if error is None else str(error),
        error is not None and error.field == "legacy_byte_order",
    )


@router.get("")
def show_list(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    page = _list(session, LayoutForm(), None)
    return render(request, "layouts/list.html", page, session=session, person=person, title="Layouts")


@router.post("", max_body_size=UPLOAD_LIMIT)
def take(
    request: Request,
    form: Annotated[LayoutForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        data, label = read_upload(form.file, field="file")
        found = read_layout(data, legacy_byte_order=form.legacy_byte_order or None)
        with session.begin_nested():
            row = add_layout(
                session,
                person=person,
                at=now,
                name=form.name or found.layout.name,
                definitions=found.layout,
                source=found.source,
                software_number=form.software_number,
                uploaded=data,
                file_name=label,
                findings=found.findings,
            )
    except AppError as error:
        page = _list(session, form, error)
        return render(
            request, "layouts/list.html", page, session=session, person=person, title="Layouts", status=error.status
        )
    return see_other(request, session, f"/layouts/{row.id}", once)


@router.get("/template.csv")
def template(_person: Viewer) -> Response:
    return attachment(layout_csv_template(), "layout-template.csv", "text/csv")


@router.get("/{layout_id:int}")
def show(
    request: Request,
    layout_id: int,
    session: Read,
    person: Viewer,
    q: str = "",
    category: str = "",
    start: int = 0,
) -> HTMLResponse:
    row = layouts.layout(session, layout_id)
    definitions = layouts.definitions(session, row)
    assert definitions is not None
    found = [one for one in definitions.maps if _wanted(one, q.casefold().split(), category)]
    first = max(0, min(start, len(found)))
    link = f"/layouts/{layout_id}?q={q}&category={category}&start="
    page = LayoutPage(
        row=_row(row),
        note=row.note,
        findings=tuple(str(one) for one in row.findings),
        versions=tuple(
            (f"v{one.version}", f"/layouts/{one.id}", one.id == row.id) for one in layouts.versions(session, row.name)
        ),
        query=q,
        category=category,
        categories=tuple((one, one.capitalize()) for one in CATEGORIES),
        total=len(found),
        maps=tuple(_map_row(one, definitions.address_base) for one in found[first : first + PAGE]),
        earlier=f"{link}{max(0, first - PAGE)}" if first else None,
        later=f"{link}{first + PAGE}" if first + PAGE < len(found) else None,
        checksums=tuple(
            (
                one.name,
                one.algorithm,
                ", ".join(f"0x{start:X}–0x{end - 1:X}" for start, end in one.ranges),
                f"0x{one.stored_at:X}, {one.byte_order}-endian",
            )
            for one in definitions.checksums
        ),
        volatile=tuple((f"0x{one.start:X}–0x{one.end - 1:X}", one.reason) for one in definitions.volatile),
    )
    return render(request, "layouts/page.html", page, session=session, person=person, title=row.name)


def _wanted(one: MapDefinition, words: list[str], category: str) -> bool:
    text = f"{one.name} {one.description}".casefold()
    return (not category or one.category == category) and all(word in text for word in words)


def _map_row(one: MapDefinition, base: int) -> MapRow:
    shape = " × ".join(str(n) for n in one.shape) or "1"
    return MapRow(one.name, one.category, one.kind, shape, one.address + base, one.scaling.unit or "–", one.description)
