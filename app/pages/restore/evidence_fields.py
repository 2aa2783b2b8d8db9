"""What the evidence form of a step shows: choices from the record, what is proposed, what was typed before."""

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.restore.plan import Step
from app.pages.restore.forms import StepForm
from app.record import dyno, flashes, identities, read_backs, restore_pulls, stocks, vehicles
from app.record.restore_defaults import parts_to_look_at
from app.record.restores import Case, newest_flash
from app.record.settings import shop
from app.web.form import text_of
from app.web.page import when

Choice = tuple[str, str]
_BLANK_PARTS = 3
_BLANK_READINESS = 3


@dataclass(frozen=True, slots=True)
class EvidenceFields:
    """kind : which form. choices : (id, words) of what is on record already. told : facts to compare with.
    rows : lines of a list (parts: name, state, note; readiness: name, bytes). unit_id : for links."""

    kind: str
    values: dict[str, str]
    choices: tuple[Choice, ...] = ()
    told: tuple[tuple[str, str | None], ...] = ()
    digest: str | None = None
    rows: tuple[tuple[str, ...], ...] = ()
    unit_id: int | None = None


def evidence_fields(session: Session, case: Case, step: Step, form: StepForm | None) -> EvidenceFields:
    """The form of one step; `form` is what was typed into it before it was refused."""
    typed = StepForm() if form is None else form
    make = _FIELDS.get(step.evidence, _plain)
    return make(session, case, step, typed)


def _plain(_session: Session, _case: Case, step: Step, form: StepForm) -> EvidenceFields:
    return EvidenceFields(step.evidence, text_of(form), unit_id=step.unit_id)


def _identity(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    unit = vehicles.control_unit(session, step.unit_id or 0)
    known = identities.expected(session, unit)
    scans = [c for c in vehicles.identity_checks(session, [unit.id]) if c.entry_seq > case.restore.entry_seq]
    used = case.kept(step.key, "identity_check_id")
    return EvidenceFields(
        step.evidence,
        text_of(form),
        choices=tuple((str(c.id), f"{when(c.at)}: {c.sentence}") for c in scans[:1] if c.id != used),
        told=(
            ("Hardware number on record", known.hardware_number),
            ("Software number on record", known.software_number),
            ("Calibration IDs on record", ", ".join(known.calibration_ids) or None),
            ("Verification numbers on record", ", ".join(known.cvns) or None),
        ),
        unit_id=unit.id,
    )


def _stock(session: Session, _case: Case, step: Step, form: StepForm) -> EvidenceFields:
    stock = stocks.current(session, step.unit_id or 0)
    return EvidenceFields(
        step.evidence, text_of(form), digest=None if stock is None else stock.sha256, unit_id=step.unit_id
    )


def _supply(session: Session, _case: Case, step: Step, form: StepForm) -> EvidenceFields:
    bounds = shop(session)
    allowed = f"{bounds.supply_minimum_v:.1f} to {bounds.supply_maximum_v:.1f} V"
    return EvidenceFields(step.evidence, text_of(form), told=(("Allowed in this shop", allowed),))


def _flash(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    stock = stocks.current(session, step.unit_id or 0)
    newest = newest_flash(session, step.unit_id or 0)
    choices: tuple[Choice, ...] = ()
    used = case.kept(step.key, "flash_id")
    if newest is not None and newest.entry_seq > case.restore.entry_seq and newest.stock_id and newest.id != used:
        choices = ((str(newest.id), f"Stock, {when(newest.flashed_at)}, {newest.outcome}"),)
    return EvidenceFields(
        step.evidence,
        {**text_of(form), "outcome": form.outcome or "completed"},
        choices=choices,
        digest=None if stock is None else stock.sha256,
        unit_id=step.unit_id,
    )


def _read_back(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    flash_id = case.kept(f"flash.{step.unit_id}", "flash_id")
    row = None if flash_id is None else read_backs.latest(session, flash_id)
    used = case.kept(step.key, "read_back_id")
    choices = () if row is None or row.id == used else ((str(row.id), f"{when(row.at)}: {row.sentence}"),)
    return EvidenceFields(step.evidence, text_of(form), choices=choices, unit_id=step.unit_id)


def _coding_written(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    choices = []
    for record in flashes.of_vehicle(session, case.restore.vehicle_id):
        row = record.write_back
        if row is not None and row.wanted_snapshot_id is not None and row.entry_seq > case.restore.entry_seq:
            outcome = "equal" if row.equal else "differs"
            choices.append((str(record.flash.id), f"Written back {when(row.at)}, compared: {outcome}"))
    return EvidenceFields(
        step.evidence, {**text_of(form), "outcome": form.outcome or "completed"}, choices=tuple(choices[:1])
    )


def _readiness(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    rows = list(zip(form.readiness_name, form.readiness_bytes, strict=False))
    if not rows:
        units = vehicles.control_units(session, case.restore.vehicle_id)
        rows = [(unit.role.capitalize(), "") for unit in units if unit.role in ("engine", "transmission")]
    rows += [("", "")] * max(0, _BLANK_READINESS - len(rows))
    return EvidenceFields(step.evidence, text_of(form), rows=tuple(rows))


def _parts(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    rows: list[tuple[str, ...]] = list(zip(form.part_name, form.part_state, form.part_note, strict=False))
    if not rows:
        latest = case.latest_evidence(step.key)
        words = {True: "stock", False: "changed", None: "not seen"}
        if latest is not None:
            seen = latest.evidence["given"]["parts"]
            rows = [(part["name"], words[part["stock_fitted"]], part["note"]) for part in seen]
        else:
            rows = [(name, "not seen", "") for name in parts_to_look_at(session, case.unit_ids)]
        rows += [("", "not seen", "")] * _BLANK_PARTS
    return EvidenceFields(step.evidence, text_of(form), rows=tuple(rows))


def _pulls(session: Session, case: Case, step: Step, form: StepForm) -> EvidenceFields:
    rows = restore_pulls.measured_since(session, case.restore)
    counts = dyno.runs_of(session, [row.id for row in rows])
    return EvidenceFields(
        step.evidence,
        text_of(form),
        choices=tuple(
            (
                str(row.id),
                f"{row.purpose}, {when(row.measured_at)}, {dyno.dyno(session, row.dyno_id).name}, "
                f"{counted(sum(run.included for run in counts[row.id]), 'pull')}",
            )
            for row in rows
        ),
    )


_FIELDS: dict[str, Callable[[Session, Case, Step, StepForm], EvidenceFields]] = {
    "identity scan": _identity,
    "stock image": _stock,
    "supply voltage": _supply,
    "flash log": _flash,
    "read-back image": _read_back,
    "coding write-back": _coding_written,
    "readiness": _readiness,
    "parts list": _parts,
    "dyno session": _pulls,
}
