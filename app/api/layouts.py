"""Layouts as JSON."""

from typing import Annotated

from fastapi import APIRouter, Form, status
from pydantic import BaseModel

from app.actions.add_layout import add_layout
from app.api.model import ApiOut, Time
from app.api.paging import Cursor, Limit, ListPage, cut, decode_number, encode_cursor
from app.calc.calibration.layout import Layout as Definitions
from app.readers.layout import read_layout
from app.record import layouts
from app.record.tables import Layout
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(prefix="/layouts", tags=["calibration"])


class LayoutUpload(BaseModel):
    file: Upload = None
    name: str = ""
    software_number: str = ""
    legacy_byte_order: str = ""


class LayoutOut(ApiOut):
    id: int
    name: str
    version: int
    software_number: str | None
    map_count: int
    block_checksum_count: int
    source: str
    sha256: str
    note: str
    findings: list[str]
    at: Time


class MapOut(ApiOut):
    """Addresses are those in the image; `rows` and `columns` at the largest."""

    name: str
    kind: str
    category: str
    unit: str
    address: int
    data_type: str
    rows: int
    columns: int
    description: str


class BlockChecksumOut(ApiOut):
    """Ranges are [first address, first address after]."""

    name: str
    algorithm: str
    ranges: list[list[int]]
    stored_at: int
    byte_order: str


class VolatileRangeOut(ApiOut):
    start: int
    end: int
    reason: str


class LayoutWholeOut(LayoutOut):
    maps: list[MapOut]
    block_checksums: list[BlockChecksumOut]
    volatile_ranges: list[VolatileRangeOut]


@router.post("", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT)
def take(
    form: Annotated[LayoutUpload, Form(media_type="multipart/form-data")], session: Write, person: Tuner, now: Now
) -> LayoutOut:
    """A2L or our table, told apart by content; the same name again makes a new version."""
    data, label = read_upload(form.file, field="file")
    found = read_layout(data, legacy_byte_order=form.legacy_byte_order or None)
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
    return LayoutOut(**_plain(row))


@router.get("")
def every(session: Read, _person: Viewer, limit: Limit = 50, cursor: Cursor = None) -> ListPage[LayoutOut]:
    """The newest version of each layout, by name."""
    after = decode_number(cursor) or 0
    found = layouts.newest(session)[after : after + limit + 1]
    rows, _ = cut(found, limit, lambda _row: "")
    following = encode_cursor(after + limit) if len(found) > limit else None
    return ListPage(items=[LayoutOut(**_plain(row)) for row in rows], next_cursor=following)


@router.get("/{layout_id:int}")
def one(layout_id: int, session: Read, _person: Viewer) -> LayoutWholeOut:
    """One version with everything it defines."""
    row = layouts.layout(session, layout_id)
    known = layouts.require(session, row)
    return LayoutWholeOut(
        **_plain(row),
        maps=_maps(known),
        block_checksums=[
            BlockChecksumOut(
                name=one.name,
                algorithm=one.algorithm,
                ranges=[list(pair) for pair in one.ranges],
                stored_at=one.stored_at,
                byte_order=one.byte_order,
            )
            for one in known.checksums_in_image
        ],
        volatile_ranges=[
            VolatileRangeOut(start=one.start, end=one.end, reason=one.reason) for one in known.volatile_in_image
        ],
    )


def _plain(row: Layout) -> dict[str, object]:
    return {
        "id": row.id,
        "name": row.name,
        "version": row.version,
        "software_number": row.software_number,
        "map_count": row.map_count,
        "block_checksum_count": row.checksum_count,
        "source": row.source,
        "sha256": row.sha256,
        "note": row.note,
        "findings": [str(one) for one in row.findings],
        "at": row.at,
    }


def _maps(known: Definitions) -> list[MapOut]:
    return [
        MapOut(
            name=one.name,
            kind=one.kind,
            category=one.category,
            unit=one.scaling.unit,
            address=one.address + known.address_base,
            data_type=one.data_type,
            rows=one.shape[0] if len(one.shape) > 1 else 1,
            columns=one.shape[-1] if one.shape else 1,
            description=one.description,
        )
        for one in known.maps
    ]
