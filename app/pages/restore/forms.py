"""Forms of a restore, and the evidence that they carry."""

from collections.abc import Callable, Sequence

from pydantic import Field

from app.actions.open_restore import NewRestore
from app.calc.restore.plan import Step
from app.calc.restore.verdicts import Part
from app.calc.vehicle.identity import Identity
from app.errors import BadInput
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.readers.image import read_image
from app.readers.picture import picture_of
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
    Photo,
    PullsMeasured,
    ReadBackFile,
    ReadBackOnRecord,
    ReadinessRead,
    StockHashed,
    SupplyMeasured,
)
from app.web.form import FormModel, read_choice, read_number
from app.web.uploads import Upload, Uploads, read_upload

STOCK_FITTED = {"stock": True, "changed": False, "not seen": None}


class OpenForm(FormModel):
    """A new case, as typed; no unit chosen is an empty list."""

    reason: str = ""
    unit_ids: list[int] = Field(default_factory=list)
    coding_snapshot_id: str = ""
    baseline_session_id: str = ""
    margin_percent: str = ""
    two_sign_offs: str = ""


class StepForm(FormModel):
    """Evidence of any kind; which fields count is told by the step."""

    use_record: str = ""
    record_id: str = ""
    hardware_number: str = ""
    software_number: str = ""
    calibration_ids: str = ""
    cvns: str = ""
    lowest_v: str = ""
    highest_v: str = ""
    outcome: str = ""
    supply_before_v: str = ""
    supply_lowest_v: str = ""
    sha256: str = ""
    note: str = ""
    file: Upload = None
    text: str = ""
    readiness_name: list[str] = Field(default_factory=list)
    readiness_bytes: list[str] = Field(default_factory=list)
    part_name: list[str] = Field(default_factory=list)
    part_state: list[str] = Field(default_factory=list)
    part_note: list[str] = Field(default_factory=list)
    photos: Uploads = Field(default_factory=list)


class OverrideForm(FormModel):
    reason: str = ""
    password: str = ""
    confirmed: str = ""


class AbandonForm(FormModel):
    reason: str = ""
    confirmed: str = ""


class SignForm(FormModel):
    name: str = ""
    password: str = ""
    confirmed: str = ""


def new_restore(form: OpenForm) -> NewRestore:
    """The case as the form tells it; BadInput names the field."""
    margin = read_number(form.margin_percent, field="margin_percent", label="Margin of equivalence")
    if margin is None:
        raise BadInput("Margin of equivalence is missing.", field="margin_percent")
    return NewRestore(
        reason=form.reason,
        unit_ids=tuple(form.unit_ids),
        coding_snapshot_id=_id(form.coding_snapshot_id, "coding_snapshot_id"),
        baseline_session_id=_id(form.baseline_session_id, "baseline_session_id"),
        margin_percent=margin,
        two_sign_offs=form.two_sign_offs == "yes",
    )


def evidence_of(form: StepForm, step: Step, *, base_address: int = 0) -> Evidence:
    """What the form hands in for this kind of step; BadInput names the field.

    base_address : of the step's control unit, for a raw binary.
    """
    if step.evidence == "read-back image" and not form.use_record:
        data, label = read_upload(form.file, field="file")
        read = read_image(data, base_address=base_address)
        return ReadBackFile(read.image, read.format, data, label)
    taken = _TAKEN.get(step.evidence)
    if taken is None:
        raise BadInput("This step takes no evidence: sign with your name and password.")
    return taken(form)


def _identity(form: StepForm) -> Evidence:
    if form.use_record:
        return IdentityOnRecord(_needed_id(form.record_id, "Choose the scan."))
    return IdentityScanned(
        Identity(
            form.hardware_number or None,
            form.software_number or None,
            tuple(line.strip() for line in form.calibration_ids.replace(",", "\n").splitlines() if line.strip()),
            tuple(form.cvns.replace(",", " ").split()),
        )
    )


def _supply(form: StepForm) -> Evidence:
    lowest = _volts(form.lowest_v, "lowest_v", "Lowest voltage")
    return SupplyMeasured(lowest, _volts(form.highest_v, "highest_v", "Highest voltage"), _photos(form))


def _photos(form: StepForm) -> tuple[Photo, ...]:
    found = []
    for one in form.photos:
        data, name = read_upload(one, field="photos")
        picture = picture_of(data)
        if picture is None:
            raise BadInput(f"“{name[:60]}” is no photo: hand in a whole JPEG or PNG picture.", field="photos")
        found.append(Photo(data, name, picture.media_type))
    return tuple(found)


def _volts(text: str, field: str, label: str) -> float:
    value = read_number(text, field=field, label=label)
    if value is None:
        raise BadInput(f"{label} is missing; type what the meter showed.", field=field)
    return value


def _flash(form: StepForm) -> Evidence:
    if form.use_record:
        return FlashOnRecord(_needed_id(form.record_id, "Choose the write."))
    return FlashDone(
        NewFlash(
            revision_id=None,
            outcome=form.outcome,
            supply_before_v=read_number(form.supply_before_v, field="supply_before_v", label="Voltage before"),
            supply_lowest_v=read_number(form.supply_lowest_v, field="supply_lowest_v", label="Lowest voltage"),
            sha256=form.sha256,
            note=form.note,
        )
    )


def _coding_written(form: StepForm) -> Evidence:
    if form.use_record:
        return CodingWriteOnRecord(_needed_id(form.record_id, "Choose the flash."))
    if form.outcome not in ("completed", "incomplete"):
        raise BadInput("Say whether the coding of every module was written.", field="outcome")
    return CodingStated(form.outcome == "completed", form.note)


def _coding_read(form: StepForm) -> Evidence:
    data, label = (form.text.encode(), "pasted") if form.text else read_upload(form.file, field="file")
    return CodingRead(read_coding(data), data, label)


def _faults(form: StepForm) -> Evidence:
    return FaultsRead(read_fault_list(form.text), form.text)


def _readiness(form: StepForm) -> Evidence:
    rows = zip(form.readiness_name, form.readiness_bytes, strict=False)
    return ReadinessRead(tuple((name, text) for name, text in rows if text.strip()))


def _parts(form: StepForm) -> Evidence:
    rows = zip(form.part_name, form.part_state, _padded(form.part_note, len(form.part_name)), strict=False)
    parts = [Part(name, STOCK_FITTED.get(state), note) for name, state, note in rows if name.strip() or note.strip()]
    return PartsSeen(tuple(parts), _photos(form))


def _padded(texts: Sequence[str], count: int) -> list[str]:
    return [*texts, *[""] * (count - len(texts))]


def _pulls(form: StepForm) -> Evidence:
    return PullsMeasured(_needed_id(form.record_id, "Choose the session."))


_TAKEN: dict[str, Callable[[StepForm], Evidence]] = {
    "identity scan": _identity,
    "stock image": lambda _form: StockHashed(),
    "supply voltage": _supply,
    "flash log": _flash,
    "read-back image": lambda _form: ReadBackOnRecord(),
    "coding write-back": _coding_written,
    "coding snapshot": _coding_read,
    "fault scan": _faults,
    "readiness": _readiness,
    "parts list": _parts,
    "dyno session": _pulls,
}


def _id(text: str, field: str) -> int | None:
    return read_choice(text, field=field) if text else None


def _needed_id(text: str, sentence: str) -> int:
    return read_choice(text, field="record_id", sentence=sentence)
