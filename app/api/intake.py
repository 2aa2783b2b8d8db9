"""Identity checks, fault scans and coding snapshots as JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, status
from pydantic import BaseModel, Field

from app.actions.check_identity import check_identity
from app.actions.keep_coding import keep_coding
from app.actions.scan_faults import scan_faults
from app.api.model import ApiIn, ApiOut, Time
from app.calc.vehicle.coding import compare
from app.calc.vehicle.identity import Identity
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.record import codings, flashes, identities
from app.web.now import Now
from app.web.signed_in import FrontDesk, Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(tags=["intake"])


class ScanIn(ApiIn):
    hardware_number: str | None = None
    software_number: str | None = None
    calibration_ids: list[str] = Field(default_factory=list)
    cvns: list[str] = Field(default_factory=list)


class FieldOut(ApiOut):
    name: str
    recorded: str | None
    scanned: str | None
    verdict: str
    note: str


class IdentityCheckOut(ApiOut):
    id: int
    control_unit_id: int
    matches: bool
    sentence: str
    fields: list[FieldOut]
    at: Time


class FaultsIn(ApiIn):
    text: str
    occasion: str = "as found"


class FaultOut(ApiOut):
    code: str
    failure_type: str | None
    flags: list[str]
    text: str
    module: str


class FaultScanOut(ApiOut):
    id: int
    vehicle_id: int
    occasion: str
    faults: list[FaultOut]
    at: Time


class CodingUpload(BaseModel):
    file: Upload = None
    occasion: str = "as found"


class SnapshotOut(ApiOut):
    id: int
    vehicle_id: int
    occasion: str
    digest: str
    modules: int
    keys: int
    at: Time


class CodingComparisonOut(ApiOut):
    equal: bool
    sentence: str
    changes: list[dict[str, Any]]


@router.post("/control-units/{unit_id:int}/identity-checks", status_code=status.HTTP_201_CREATED)
def check(unit_id: int, body: ScanIn, session: Write, person: FrontDesk, now: Now) -> IdentityCheckOut:
    """Compare the numbers a scan reports with the record, field by field."""
    scanned = Identity(body.hardware_number, body.software_number, tuple(body.calibration_ids), tuple(body.cvns))
    row = check_identity(session, person=person, at=now, control_unit_id=unit_id, scanned=scanned)
    return IdentityCheckOut.model_validate(row)


@router.get("/identity-checks/{check_id:int}")
def show_check(check_id: int, session: Read, _person: Viewer) -> IdentityCheckOut:
    """A check as it was taken: the record at that moment against the scan."""
    return IdentityCheckOut.model_validate(identities.check(session, check_id))


@router.post("/vehicles/{vehicle_id:int}/fault-scans", status_code=status.HTTP_201_CREATED)
def add_faults(vehicle_id: int, body: FaultsIn, session: Write, person: FrontDesk, now: Now) -> FaultScanOut:
    """Keep a fault list as the scan tool prints it."""
    row = scan_faults(
        session,
        person=person,
        at=now,
        vehicle_id=vehicle_id,
        faults=read_fault_list(body.text),
        text=body.text,
        occasion=body.occasion,
    )
    return FaultScanOut.model_validate(row)


@router.post(
    "/vehicles/{vehicle_id:int}/coding-snapshots", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT
)
def add_coding(
    vehicle_id: int,
    form: Annotated[CodingUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> SnapshotOut:
    """Keep the coding of all modules: a table, JSON, or lines of hex per module."""
    data, label = read_upload(form.file, field="file")
    row = keep_coding(
        session,
        person=person,
        at=now,
        vehicle_id=vehicle_id,
        coding=read_coding(data),
        occasion=form.occasion,
        uploaded=data,
        file_name=label,
    )
    return SnapshotOut.model_validate(row)


@router.get("/coding-snapshots/{first_id:int}/compare/{second_id:int}")
def compare_codings(first_id: int, second_id: int, session: Read, _person: Viewer) -> CodingComparisonOut:
    """Added, removed and changed values by module and key."""
    first, second = flashes.coding_snapshot(session, first_id), flashes.coding_snapshot(session, second_id)
    found = compare(codings.load(session, first), codings.load(session, second))
    changes = [
        {"module": c.module, "key": c.key, "kind": c.kind, "before": c.before, "after": c.after} for c in found.changes
    ]
    return CodingComparisonOut(equal=found.equal, sentence=found.sentence, changes=changes)
