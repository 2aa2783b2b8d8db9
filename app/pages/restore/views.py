"""What the checklist of one restore shows, built from the record."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.restore.plan import Step, StepState
from app.errors import AppError
from app.pages.restore.evidence_fields import EvidenceFields, evidence_fields
from app.pages.restore.forms import StepForm
from app.pages.restore.words import name_of, session_words
from app.pages.vehicle.views import LARGEST_SHOWN
from app.record import (
    dyno,
    flashes,
    restore_certificate,
    restores,
    vehicles,
)
from app.record.car_state import vehicle_label
from app.record.restores import Case
from app.record.tables import Person, Restore
from app.web.page import when

Choice = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Decided:
    """Who decided what is not told by evidence, when and why."""

    by: str
    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class ReasonFields:
    """The form of an override or of abandoning the case, as typed."""

    reason: str
    errors: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class StepView:
    """One step. fields: what its evidence form shows, None where no evidence can be handed in now."""

    key: str
    id: str
    title: str
    state: str
    state_text: str
    current: bool
    guidance: str
    caution: str
    waits_for: tuple[str, ...]
    finding: str
    details: tuple[str, ...]
    found_at: datetime | None
    found_by: str
    stale: bool
    earlier: int
    override: Decided | None
    digests: tuple[Choice, ...]
    photos: tuple[tuple[int, str], ...]
    fields: EvidenceFields | None
    done: bool
    error: str
    error_details: tuple[str, ...]
    override_form: ReasonFields | None


@dataclass(frozen=True, slots=True)
class SignView:
    """What is signed and by whom so far; `mine` when the viewer has signed already."""

    statement: str
    wanted: int
    signed: tuple[tuple[str, datetime], ...]
    mine: bool
    name: str
    errors: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class CaseFile:
    """A photo or paper that was attached to the car since the case was opened."""

    id: int
    name: str
    note: str
    at: datetime
    picture: bool


@dataclass(frozen=True, slots=True)
class CasePage:
    id: int
    number: int
    vehicle_id: int
    vehicle: str
    reason: str
    opened_at: datetime
    opened_by: str
    lead: str
    closed: str
    closed_href: str | None
    issued: tuple[str, datetime] | None
    abandoned: Decided | None
    contradictions: tuple[str, ...]
    facts: tuple[tuple[str, str | None], ...]
    steps: tuple[StepView, ...]
    sign: SignView | None
    may_work: bool
    abandon_form: ReasonFields | None
    files: tuple[CaseFile, ...]
    may_attach: bool
    attach_error: str
    attach_note: str


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was refused: for which step (or "sign", "abandon", "photos"), why, and what was typed."""

    key: str
    error: AppError
    values: Mapping[str, str]
    form: StepForm | None = None


def case_page(session: Session, restore_id: int, person: Person, refused: Refused | None = None) -> CasePage:
    """The checklist of one case."""
    case = restores.case(session, restore_id)
    restore = case.restore
    vehicle = vehicles.vehicle(session, restore.vehicle_id)
    work = [s for s in case.progress.states if s.step.evidence != "sign-off"]
    certificate = case.certificate
    attach = refused if refused is not None and refused.key == "photos" else None
    return CasePage(
        id=restore.id,
        number=restore.number,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        reason=restore.reason,
        opened_at=restore.at,
        opened_by=name_of(session, restore.by_id),
        lead=_lead(case),
        closed="" if case.replaced_by is None else f"Restore {case.replaced_by.number} took the place of this one.",
        closed_href=None if case.replaced_by is None else f"/restores/{case.replaced_by.id}",
        issued=None if certificate is None else (str(certificate.body["number"]), certificate.at),
        abandoned=_abandoned(session, case),
        contradictions=_contradictions(session, case) if case.is_open else (),
        facts=_facts(session, case),
        steps=tuple(step_view(session, case, state, person, refused) for state in work),
        sign=_sign(session, case, person, refused),
        may_work=person.role in ("tuner", "manager"),
        abandon_form=_reason_fields("abandon", refused)
        if case.is_open and person.role in ("tuner", "manager")
        else None,
        files=_files(session, restore),
        may_attach=case.is_open,
        attach_error="" if attach is None else attach.error.sentence,
        attach_note=f"Restore {restore.number}" if attach is None else attach.values.get("note", ""),
    )


def _files(session: Session, restore: Restore) -> tuple[CaseFile, ...]:
    """Told by the order of the journal, not by a clock."""
    return tuple(
        CaseFile(row.id, row.file_name, row.note, row.at, row.picture is not None and row.size <= LARGEST_SHOWN)
        for row in vehicles.attachments(session, restore.vehicle_id)
        if row.entry_seq > restore.entry_seq
    )


def _lead(case: Case) -> str:
    if case.certificate is not None:
        return str(case.certificate.body["headline"])
    if case.is_open:
        return case.progress.sentence
    work = [s for s in case.progress.states if s.step.evidence != "sign-off"]
    return f"Ended with {sum(s.state == 'done' for s in work)} of {len(work)} steps done."


def _abandoned(session: Session, case: Case) -> Decided | None:
    row = case.abandonment
    return None if row is None else Decided(name_of(session, row.by_id), row.at, row.reason)


def _contradictions(session: Session, case: Case) -> tuple[str, ...]:
    """Only once stock is written: before that, the car carries something else by its nature."""
    written = [s for s in case.progress.states if s.step.evidence == "flash log" and s.state == "done"]
    return restore_certificate.against_the_record(session, case) if case.progress.may_sign_off and written else ()


def _facts(session: Session, case: Case) -> tuple[tuple[str, str | None], ...]:
    restore = case.restore
    snapshot = baseline = None
    if restore.coding_snapshot_id is not None:
        row = flashes.coding_snapshot(session, restore.coding_snapshot_id)
        snapshot = f"{row.occasion}, {when(row.at)}, {counted(row.keys, 'value')}"
    if restore.baseline_session_id is not None:
        baseline = session_words(session, dyno.dyno_session(session, restore.baseline_session_id))
    return (
        ("Coding to restore", snapshot),
        ("Baseline to compare with", baseline),
        ("Margin of equivalence", f"{restore.margin_percent:g} % either way"),
        ("Sign-offs", "two people" if restore.two_sign_offs else "one person"),
    )


_LOOKS = {"failed": ("danger", "failed"), "not verified": ("unknown", "not verified")}


def _look(state: StepState) -> Choice:
    """State and words of a step's badge."""
    if state.state == "done":
        return ("attention", "overridden") if state.override is not None else ("ok", "verified")
    if state.state == "blocked":
        return "unknown", "waits"
    if state.stale:
        return "attention", "to be done again"
    return _LOOKS.get("" if state.verdict is None else state.verdict.outcome, ("unknown", "open"))


def step_view(session: Session, case: Case, state: StepState, person: Person, refused: Refused | None) -> StepView:
    """One step with what may be done about it now."""
    step = state.step
    look, text = _look(state)
    changeable = case.is_open and not case.sign_offs
    reached = changeable and state.state != "blocked"
    found = case.latest_evidence(step.key)
    mine = refused if refused is not None and refused.key == step.key else None
    takes = reached and step.evidence_possible and person.role in ("tuner", "manager")
    return StepView(
        key=step.key,
        id=html_id(step),
        title=step.title,
        state=look,
        state_text=text,
        current=case.progress.next_step is not None and case.progress.next_step.key == step.key and changeable,
        guidance=step.guidance,
        caution=step.caution,
        waits_for=tuple(case.plan.step(key).title for key in state.waits_for),
        finding="" if state.verdict is None else state.verdict.sentence,
        details=() if state.verdict is None or step.evidence == "stock image" else state.verdict.details,
        found_at=None if found is None else found.at,
        found_by="" if found is None else name_of(session, found.by_id),
        stale=state.stale,
        earlier=max(0, len(case.entries.get(step.key, ())) - 1),
        override=_override(session, case, state),
        digests=_digests(case, step),
        photos=tuple((int(one["attachment_id"]), str(one["name"])) for one in case.photos(step.key)),
        fields=evidence_fields(session, case, step, None if mine is None else mine.form) if takes else None,
        done=state.state == "done",
        error="" if mine is None else str(mine.error),
        error_details=() if mine is None else mine.error.details,
        override_form=_reason_fields(f"{step.key}/override", refused)
        if reached and state.state != "done" and person.role == "manager"
        else None,
    )


def html_id(step: Step) -> str:
    """The id of a step on the page; a dot would be a class to a style sheet."""
    return "step-" + step.key.replace(".", "-")


def _reason_fields(key: str, refused: Refused | None) -> ReasonFields:
    if refused is None or refused.key != key:
        return ReasonFields("", {}, "")
    error = refused.error
    errors = {} if error.field is None else {error.field: error.sentence}
    return ReasonFields(refused.values.get("reason", ""), errors, error.sentence)


def _override(session: Session, case: Case, state: StepState) -> Decided | None:
    if state.override is None:
        return None
    row = case.entries[state.step.key][-1]
    return Decided(name_of(session, row.by_id), row.at, state.override.reason)


def _digests(case: Case, step: Step) -> tuple[Choice, ...]:
    names = {
        "stock image": "SHA-256 of the stock image",
        "flash log": "SHA-256 of what was written",
        "read-back image": "SHA-256 of what was read",
    }
    digest = case.kept(step.key, "sha256") if step.evidence in names else None
    return () if digest is None else ((names[step.evidence], str(digest)),)


def _sign(session: Session, case: Case, person: Person, refused: Refused | None) -> SignView | None:
    if not case.progress.may_sign_off or not case.is_open:
        return None
    mine = refused if refused is not None and refused.key == "sign" else None
    overridden = sum(s.override is not None for s in case.progress.states)
    total = sum(s.step.evidence != "sign-off" for s in case.progress.states)
    words = f"{total - overridden} of {total} checks verified"
    return SignView(
        statement=words + (f", {overridden} overridden." if overridden else "."),
        wanted=2 if case.restore.two_sign_offs else 1,
        signed=tuple((name_of(session, row.by_id), row.at) for row in case.sign_offs),
        mine=any(row.by_id == person.id for row in case.sign_offs),
        name="" if mine is None else mine.values.get("name", ""),
        errors={} if mine is None or mine.error.field is None else {mine.error.field: mine.error.sentence},
        sentence="" if mine is None else mine.error.sentence,
    )
