"""Stock reads, flashes and what follows them, as JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, status
from pydantic import BaseModel
from sqlalchemy.orm import Session

from app.actions.add_read_back import add_read_back
from app.actions.add_stock_read import add_stock_read
from app.actions.log_flash import NewFlash, log_flash
from app.actions.record_first_start import record_first_start
from app.actions.waive_coding import waive_coding
from app.actions.write_coding_back import write_coding_back
from app.api.model import ApiIn, ApiOut, Time
from app.errors import BadInput
from app.record import car_state, flashes, vehicles
from app.record.flashes import FlashRecord
from app.web.image_upload import read_image_upload
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload

router = APIRouter(tags=["calibration"])


class FileUpload(BaseModel):
    file: Upload = None
    new_generation: bool = False


class StockReadOut(ApiOut):
    id: int
    control_unit_id: int
    generation: int
    sha256: str
    crc32: str
    size: int
    format: str
    stock_confirmed: bool
    stock_id: int | None
    layout_id: int | None
    block_checksums: list[dict[str, Any]]


class FlashIn(ApiIn):
    revision_id: int | None = None
    outcome: str = "completed"
    supply_before_v: float | None = None
    supply_lowest_v: float | None = None
    sha256: str | None = None
    note: str = ""
    flashed_at: Time | None = None
    happened_anyway: bool = False
    happened_reason: str = ""


class FlashOut(ApiOut):
    id: int
    control_unit_id: int
    revision_id: int | None
    stock_id: int | None
    sha256: str | None
    outcome: str
    supply_before_v: float | None
    supply_lowest_v: float | None
    flashed_at: Time


class ReadBackOut(ApiOut):
    id: int
    flash_id: int
    equal: bool
    sentence: str
    differences: list[Any]
    sha256: str
    at: Time


class WriteBackIn(ApiIn):
    wanted_snapshot_id: int | None = None
    read_snapshot_id: int | None = None
    waiver_reason: str | None = None


class WriteBackOut(ApiOut):
    id: int
    flash_id: int
    equal: bool
    waiver_reason: str | None
    wanted_snapshot_id: int | None
    read_snapshot_id: int | None
    differences: list[dict[str, Any]]
    at: Time


class FirstStartIn(ApiIn):
    note: str = ""
    happened_anyway: bool = False


class FirstStartOut(ApiOut):
    id: int
    flash_id: int
    coding_was_pending: bool
    note: str
    at: Time


class FlashRecordOut(FlashOut):
    """A write and what followed it. `read_back` and `coding_write_back`: the latest of each, null before the first.
    `block_checksums`: of the image that was written. `coding_pending`: the write-back is still owed."""

    note: str
    by: str
    block_checksums: list[dict[str, Any]]
    read_back: ReadBackOut | None
    coding_write_back: WriteBackOut | None
    first_start: FirstStartOut | None
    coding_pending: bool


def _record_out(session: Session, record: FlashRecord) -> FlashRecordOut:
    row = record.flash
    unit = vehicles.control_unit(session, row.control_unit_id)
    owed = car_state.pending_of(session, [vehicles.vehicle(session, unit.vehicle_id)])
    return FlashRecordOut(
        **FlashOut.model_validate(row).model_dump(),
        note=row.note,
        by=flashes.person_name(session, row.by_id),
        block_checksums=row.checksums,
        read_back=None if record.read_back is None else ReadBackOut.model_validate(record.read_back),
        coding_write_back=None if record.write_back is None else WriteBackOut.model_validate(record.write_back),
        first_start=None if record.first_start is None else FirstStartOut.model_validate(record.first_start),
        coding_pending=any(one.flash_id == row.id for one in owed.get(unit.vehicle_id, ())),
    )


@router.post(
    "/control-units/{unit_id:int}/stock-reads", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT
)
def stock_read(
    request: Request,
    unit_id: int,
    form: Annotated[FileUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> StockReadOut:
    """One read of stock; two equal ones confirm it, a different one is refused with its first differing addresses."""
    file = read_image_upload(request, form.file, lambda reads: vehicles.control_unit(reads, unit_id))
    taken = add_stock_read(
        session,
        person=person,
        at=now,
        control_unit_id=unit_id,
        uploaded=file.data,
        file_name=file.label,
        read=file.read,
        new_generation=form.new_generation,
    )
    row = taken.read
    return StockReadOut(
        id=row.id,
        control_unit_id=unit_id,
        generation=row.generation,
        sha256=row.sha256 or "",
        crc32=f"{row.crc32:08X}",
        size=row.size or 0,
        format=row.file_format or "",
        stock_confirmed=taken.stock is not None,
        stock_id=None if taken.stock is None else taken.stock.id,
        layout_id=row.layout_id,
        block_checksums=row.checksums,
    )


@router.post("/control-units/{unit_id:int}/flashes", status_code=status.HTTP_201_CREATED)
def flash(unit_id: int, body: FlashIn, session: Write, person: Tuner, now: Now) -> FlashOut:
    """Log a write; `revision_id` null means that stock was written.

    409 for a withdrawn revision and for an image whose block checksum does not hold, unless `happened_anyway` says that
    it was written all the same, with `happened_reason`.
    """
    row = log_flash(session, person=person, at=now, control_unit_id=unit_id, flash=NewFlash(**body.model_dump()))
    return FlashOut.model_validate(row)


@router.get("/flashes/{flash_id:int}")
def show(flash_id: int, session: Read, _person: Viewer) -> FlashRecordOut:
    """One write with its read-back, the coding written back after it, and the first start."""
    return _record_out(session, flashes.record(session, flash_id))


@router.post("/flashes/{flash_id:int}/read-back", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT)
def read_back(
    request: Request,
    flash_id: int,
    form: Annotated[FileUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> ReadBackOut:
    """Compare what was read back with what was written."""
    file = read_image_upload(request, form.file, lambda reads: flashes.control_unit(reads, flash_id))
    row = add_read_back(
        session,
        person=person,
        at=now,
        flash_id=flash_id,
        uploaded=file.data,
        file_name=file.label,
        read=file.read,
    )
    return ReadBackOut.model_validate(row)


@router.post("/flashes/{flash_id:int}/coding-write-back", status_code=status.HTTP_201_CREATED)
def coding_write_back(flash_id: int, body: WriteBackIn, session: Write, person: Tuner, now: Now) -> WriteBackOut:
    """Prove the write-back by a snapshot read after it, or record why none is needed."""
    if body.waiver_reason:
        row = waive_coding(session, person=person, at=now, flash_id=flash_id, reason=body.waiver_reason)
    elif body.wanted_snapshot_id is None or body.read_snapshot_id is None:
        raise BadInput(
            "Name the snapshot that was written and the one that was read afterwards, or give a waiver_reason.",
            field="read_snapshot_id" if body.read_snapshot_id is None else "wanted_snapshot_id",
        )
    else:
        row = write_coding_back(
            session,
            person=person,
            at=now,
            flash_id=flash_id,
            wanted_snapshot_id=body.wanted_snapshot_id,
            read_snapshot_id=body.read_snapshot_id,
        )
    return WriteBackOut.model_validate(row)


@router.post("/flashes/{flash_id:int}/first-start", status_code=status.HTTP_201_CREATED)
def first_start(flash_id: int, body: FirstStartIn, session: Write, person: Tuner, now: Now) -> FirstStartOut:
    """The engine's first start after the flash; refused while coding is pending unless it has happened anyway."""
    row = record_first_start(
        session, person=person, at=now, flash_id=flash_id, note=body.note, happened_anyway=body.happened_anyway
    )
    return FirstStartOut.model_validate(row)
