"""What the list of a car's restores and the checklist of one restore show, built from the record."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.restore.plan import Step, StepState
from app.errors import AppError
from app.pages.restore.evidence_fields import EvidenceFields, evidence_fields
from app.pages.restore.forms import OpenForm, StepForm
from app.record import (
    car_state,
    dyno,
    flashes,
    people,
    restore_certificate,
    restore_pulls,
    restores,
    vehicles,
)
from app.record.car_state import vehicle_label
from app.record.restore_defaults import proposed
from app.record.restores import Case
from app.record.tables import DynoSession, Person
from app.web.form import text_of
from app.web.page import when

REASONS = (
    "Warranty visit",
    "Sale of the car",
    "End of a test",
    "Return of a lease",
    "Inspection",
    "The customer's wish",
)
Choice = tuple[str, str]


@dataclass(frozen=True, slots=True)
class CaseRow:
    number: int
    href: str
    reason: str
    opened_at: datetime
    opened_by: str
    state: str
    state_text: str
    sentence: str


@dataclass(frozen=True, slots=True)
class UnitChoice:
    id: int
    label: str
    on_now: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class RestoreListPage:
    vehicle_id: int
    vehicle: str
    cases: tuple[CaseRow, ...]
    open_number: int | None
    may_open: bool
    units: tuple[UnitChoice, ...]
    snapshots: tuple[Choice, ...]
    baselines: tuple[Choice, ...]
    reasons: tuple[str, ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class OverrideView:
    by: str
    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class OverrideFields:
    """The form of an override, as typed."""

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
    override: OverrideView | None
    digests: tuple[Choice, ...]
    fields: EvidenceFields | None
    done: bool
    error: str
    error_details: tuple[str, ...]
    override_form: OverrideFields | None


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
    contradictions: tuple[str, ...]
    facts: tuple[tuple[str, str | None], ...]
    steps: tuple[StepView, ...]
    sign: SignView | None
    may_work: bool


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was refused: for which step (or "sign"), why, and what was typed."""

    key: str
    error: AppError
    values: Mapping[str, str]
    form: StepForm | None = None


def list_page(
    session: Session, vehicle_id: int, person: Person, form: OpenForm | None = None, error: AppError | None = None
) -> RestoreListPage:
    """The cases of a car and the form for a new one, filled with what the record proposes."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    defaults = proposed(session, vehicle_id)
    if form is None:
        form = OpenForm(
            unit_ids=list(defaults.unit_ids),
            coding_snapshot_id="" if defaults.coding_snapshot_id is None else str(defaults.coding_snapshot_id),
            baseline_session_id="" if defaults.baseline_session_id is None else str(defaults.baseline_session_id),
            margin_percent=f"{defaults.margin_percent:g}",
        )
    cases = restores.of_vehicle(session, vehicle_id)
    return RestoreListPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        cases=tuple(_case_row(session, case) for case in cases),
        open_number=next((c.restore.number for c in cases if c.certificate is None and c.replaced_by is None), None),
        may_open=person.role in ("tuner", "manager"),
        units=_unit_choices(session, vehicle_id, form.unit_ids),
        snapshots=tuple(
            (str(row.id), f"{row.occasion}, {when(row.at)}, {row.keys} values")
            for row in reversed(flashes.coding_snapshots(session, vehicle_id))
        ),
        baselines=tuple(
            (str(row.id), _session_words(session, row)) for row in restore_pulls.baselines(session, vehicle_id)
        ),
        reasons=REASONS,
        values=text_of(form),
        errors={} if error is None else {"units" if error.field == "unit_ids" else error.field or "": error.sentence},
        sentence="" if error is None else error.sentence,
    )


def _unit_choices(session: Session, vehicle_id: int, chosen: Collection[int]) -> tuple[UnitChoice, ...]:
    units = vehicles.control_units(session, vehicle_id)
    states = car_state.on_units(session, [unit.id for unit in units])
    return tuple(
        UnitChoice(
            unit.id,
            f"{unit.role.capitalize()} ({unit.hardware_number})",
            states[unit.id].sentence,
            unit.id in chosen,
        )
        for unit in units
    )


def _session_words(session: Session, row: DynoSession) -> str:
    return f"{row.purpose}, {when(row.measured_at)}, {dyno.dyno(session, row.dyno_id).name}"


def _case_row(session: Session, case: Case) -> CaseRow:
    restore = case.restore
    state, text, sentence = "attention", "open", case.progress.sentence
    if case.certificate is not None:
        state, text, sentence = "ok", "certified", str(case.certificate.body["headline"])
    elif case.replaced_by is not None:
        state, text = "unknown", f"replaced by restore {case.replaced_by.number}"
    return CaseRow(
        restore.number,
        f"/restores/{restore.id}",
        restore.reason,
        restore.at,
        _name(session, restore.by_id),
        state,
        text,
        sentence,
    )


def case_page(session: Session, restore_id: int, person: Person, refused: Refused | None = None) -> CasePage:
    """The checklist of one case."""
    case = restores.case(session, restore_id)
    restore = case.restore
    vehicle = vehicles.vehicle(session, restore.vehicle_id)
    is_open = case.certificate is None and case.replaced_by is None
    work = [s for s in case.progress.states if s.step.evidence != "sign-off"]
    certificate = case.certificate
    return CasePage(
        id=restore.id,
        number=restore.number,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        reason=restore.reason,
        opened_at=restore.at,
        opened_by=_name(session, restore.by_id),
        lead=case.progress.sentence if certificate is None else str(certificate.body["headline"]),
        closed="" if case.replaced_by is None else f"Restore {case.replaced_by.number} took the place of this one.",
        closed_href=None if case.replaced_by is None else f"/restores/{case.replaced_by.id}",
        issued=None if certificate is None else (str(certificate.body["number"]), certificate.at),
        contradictions=_contradictions(session, case) if is_open else (),
        facts=_facts(session, case),
        steps=tuple(step_view(session, case, state, person, refused) for state in work),
        sign=_sign(session, case, person, refused),
        may_work=person.role in ("tuner", "manager"),
    )


def _contradictions(session: Session, case: Case) -> tuple[str, ...]:
    """Only once stock is written: before that, the car carries something else by its nature."""
    written = [s for s in case.progress.states if s.step.evidence == "flash log" and s.state == "done"]
    return restore_certificate.against_the_record(session, case) if case.progress.may_sign_off and written else ()


def _facts(session: Session, case: Case) -> tuple[tuple[str, str | None], ...]:
    restore = case.restore
    snapshot = baseline = None
    if restore.coding_snapshot_id is not None:
        row = flashes.coding_snapshot(session, restore.coding_snapshot_id)
        snapshot = f"{row.occasion}, {when(row.at)}, {row.keys} values"
    if restore.baseline_session_id is not None:
        baseline = _session_words(session, dyno.dyno_session(session, restore.baseline_session_id))
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
    changeable = case.certificate is None and case.replaced_by is None and not case.sign_offs
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
        found_by="" if found is None else _name(session, found.by_id),
        stale=state.stale,
        earlier=max(0, len(case.entries.get(step.key, ())) - 1),
        override=_override(session, case, state),
        digests=_digests(case, step),
        fields=evidence_fields(session, case, step, None if mine is None else mine.form) if takes else None,
        done=state.state == "done",
        error="" if mine is None else str(mine.error),
        error_details=() if mine is None else mine.error.details,
        override_form=_override_fields(step, refused)
        if reached and state.state != "done" and person.role == "manager"
        else None,
    )


def html_id(step: Step) -> str:
    """The id of a step on the page; a dot would be a class to a style sheet."""
    return "step-" + step.key.replace(".", "-")


def _override_fields(step: Step, refused: Refused | None) -> OverrideFields:
    if refused is None or refused.key != f"{step.key}/override":
        return OverrideFields("", {}, "")
    error = refused.error
    errors = {} if error.field is None else {error.field: error.sentence}
    return OverrideFields(refused.values.get("reason", ""), errors, error.sentence)


def _override(session: Session, case: Case, state: StepState) -> OverrideView | None:
    if state.override is None:
        return None
    row = case.entries[state.step.key][-1]
    return OverrideView(_name(session, row.by_id), row.at, state.override.reason)


def _digests(case: Case, step: Step) -> tuple[Choice, ...]:
    names = {
        "stock image": "SHA-256 of the stock image",
        "flash log": "SHA-256 of what was written",
        "read-back image": "SHA-256 of what was read",
    }
    digest = case.kept(step.key, "sha256") if step.evidence in names else None
    return () if digest is None else ((names[step.evidence], str(digest)),)


def _sign(session: Session, case: Case, person: Person, refused: Refused | None) -> SignView | None:
    if not case.progress.may_sign_off or case.certificate is not None or case.replaced_by is not None:
        return None
    mine = refused if refused is not None and refused.key == "sign" else None
    overridden = sum(s.override is not None for s in case.progress.states)
    total = sum(s.step.evidence != "sign-off" for s in case.progress.states)
    words = f"{total - overridden} of {total} checks verified"
    return SignView(
        statement=words + (f", {overridden} overridden." if overridden else "."),
        wanted=2 if case.restore.two_sign_offs else 1,
        signed=tuple((_name(session, row.by_id), row.at) for row in case.sign_offs),
        mine=any(row.by_id == person.id for row in case.sign_offs),
        name="" if mine is None else mine.values.get("name", ""),
        errors={} if mine is None or mine.error.field is None else {mine.error.field: mine.error.sentence},
        sentence="" if mine is None else mine.error.sentence,
    )


def _name(session: Session, person_id: int | None) -> str:
    return "the program" if person_id is None else people.by_id(session, person_id).name
