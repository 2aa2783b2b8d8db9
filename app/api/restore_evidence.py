"""Evidence for a restore's step as JSON carries it."""

from collections.abc import Callable

from fastapi import UploadFile
from pydantic import Field

from app.api.model import ApiIn, Time
from app.calc.restore.plan import Step
from app.calc.restore.verdicts import Part
from app.calc.vehicle.identity import Identity
from app.errors import BadInput
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.readers.image import read_image
from app.record.flash_log import NewFlash
from app.record.restore_evidence import (
    CodingRead,
    CodingStated,
    CodingWriteOnRecord,
    Evidence,
    FaultsRead,
    FlashDone,
    FlashOnRecord,
    IdentityOnRecord,
    IdentityScanned,
    PartsSeen,
    PullsMeasured,
    ReadBackFile,
    ReadBackOnRecord,
    ReadinessRead,
    StockHashed,
    SupplyMeasured,
)
from app.web.uploads import read_upload


class PartIn(ApiIn):
    """stock_fitted null: nobody has looked."""

    name: str
    stock_fitted: bool | None = None
    note: str = ""


class ReadingIn(ApiIn):
    """`bytes`: A to D of service 01 PID 01 as hex."""

    control_unit: str
    bytes: str


class StepIn(ApiIn):
    """Evidence of any kind; a field that the step does not take is ignored.

    identity scan: the numbers, or identity_check_id. stock image: nothing. supply voltage: lowest_v, highest_v. flash
    log: flash_id, or outcome with supply_before_v, supply_lowest_v, sha256, note, flashed_at. read-back image: `file`
    as multipart, or nothing for the latest on record. coding write-back: completed and note, or flash_id. coding
    snapshot: `file` as multipart, or text. fault scan: text. readiness: readiness. parts list: parts. dyno session:
    session_id. Override: reason, password.
    """

    hardware_number: str | None = None
    software_number: str | None = None
    calibration_ids: list[str] = Field(default_factory=list)
    cvns: list[str] = Field(default_factory=list)
    identity_check_id: int | None = None
    lowest_v: float | None = None
    highest_v: float | None = None
    flash_id: int | None = None
    outcome: str = ""
    supply_before_v: float | None = None
    supply_lowest_v: float | None = None
    sha256: str | None = None
    flashed_at: Time | None = None
    completed: bool | None = None
    note: str = ""
    text: str = ""
    readiness: list[ReadingIn] = Field(default_factory=list)
    parts: list[PartIn] = Field(default_factory=list)
    session_id: int | None = None
    reason: str = ""
    password: str = ""


def evidence_of(fields: StepIn, file: UploadFile | None, step: Step, *, base_address: int) -> Evidence:
    """The evidence for this kind of step; BadInput names what is missing. base_address : for a raw binary."""
    if step.evidence == "read-back image":
        if file is None:
            return ReadBackOnRecord()
        data, label = read_upload(file, field="file")
        read = read_image(data, base_address=base_address)
        return ReadBackFile(read.image, read.format, data, label)
    if step.evidence == "coding snapshot":
        data, label = (fields.text.encode(), "pasted") if fields.text else read_upload(file, field="file")
        return CodingRead(read_coding(data), data, label)
    taken = _TAKEN.get(step.evidence)
    if taken is None:
        raise BadInput("This step takes no evidence: sign off instead.")
    return taken(fields)


def _identity(fields: StepIn) -> Evidence:
    if fields.identity_check_id is not None:
        return IdentityOnRecord(fields.identity_check_id)
    ids, cvns = tuple(fields.calibration_ids), tuple(fields.cvns)
    return IdentityScanned(Identity(fields.hardware_number, fields.software_number, ids, cvns))


def _supply(fields: StepIn) -> Evidence:
    return SupplyMeasured(_needed(fields.lowest_v, "lowest_v"), _needed(fields.highest_v, "highest_v"))


def _flash(fields: StepIn) -> Evidence:
    if fields.flash_id is not None:
        return FlashOnRecord(fields.flash_id)
    return FlashDone(
        NewFlash(
            revision_id=None,
            outcome=fields.outcome,
            supply_before_v=fields.supply_before_v,
            supply_lowest_v=fields.supply_lowest_v,
            sha256=fields.sha256,
            note=fields.note,
            flashed_at=fields.flashed_at,
        )
    )


def _coding_written(fields: StepIn) -> Evidence:
    if fields.flash_id is not None:
        return CodingWriteOnRecord(fields.flash_id)
    if fields.completed is None:
        raise BadInput("Say with `completed` whether the coding of every module was written.", field="completed")
    return CodingStated(fields.completed, fields.note)


def _readiness(fields: StepIn) -> Evidence:
    return ReadinessRead(tuple((one.control_unit, one.bytes) for one in fields.readiness))


def _parts(fields: StepIn) -> Evidence:
    return PartsSeen(tuple(Part(one.name, one.stock_fitted, one.note) for one in fields.parts))


def _pulls(fields: StepIn) -> Evidence:
    if fields.session_id is None:
        raise BadInput("Name the dyno session with the verification pulls.", field="session_id")
    return PullsMeasured(fields.session_id)


def _needed(value: float | None, field: str) -> float:
    if value is None:
        raise BadInput(f"{field} is missing.", field=field)
    return value


_TAKEN: dict[str, Callable[[StepIn], Evidence]] = {
    "identity scan": _identity,
    "stock image": lambda _fields: StockHashed(),
    "supply voltage": _supply,
    "flash log": _flash,
    "coding write-back": _coding_written,
    "fault scan": lambda fields: FaultsRead(read_fault_list(fields.text), fields.text),
    "readiness": _readiness,
    "parts list": _parts,
    "dyno session": _pulls,
}
