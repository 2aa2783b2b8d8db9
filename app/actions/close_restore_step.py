"""Hand in evidence for one step of a restore; what it shows decides whether the step is closed."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.restore.plan import Step, StepState
from app.errors import Conflict
from app.record import journal, restores
from app.record.restore_evidence import Evidence, photos_of
from app.record.restore_judging import Bench, Judged, judge
from app.record.restore_photos import with_photos
from app.record.restores import Case, verdict_of
from app.record.tables import Person, RestoreStep


def close_restore_step(
    session: Session, *, person: Person, at: dt.datetime, restore_id: int, key: str, evidence: Evidence
) -> RestoreStep:
    """Judge the evidence and keep it with its verdict, whatever that is; the rows it makes are kept with it.

    The same evidence again, while it still counts, changes nothing. Raises Conflict while the step waits for others
    (with their titles), when somebody has signed, or when the record lacks what the evidence would be held against.
    """
    case = restores.case(session, restore_id, lock=True)
    case.require_open()
    case.require_unsigned()
    step = case.work_step(key)
    state = case.require_reached(key)
    if not step.evidence_possible:
        raise Conflict(step.guidance)
    bench = Bench(session, case, step, person, at)
    judged = with_photos(bench, judge(bench, evidence), photos_of(evidence))
    known = _repeated(case, state, judged)
    if known is not None:
        return known
    row = _entry(person, at, case, step, judged)
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="close step",
        sentence=f"Restore {case.restore.number}, {step.title}: {row.sentence}",
        vehicle_id=case.restore.vehicle_id,
        subject=("restore", restore_id),
        facts={"key": key, "outcome": row.outcome, "evidence": row.evidence},
    )
    return row


def _entry(person: Person, at: dt.datetime, case: Case, step: Step, judged: Judged) -> RestoreStep:
    return RestoreStep(
        restore_id=case.restore.id,
        key=step.key,
        outcome=judged.verdict.outcome,
        sentence=judged.verdict.sentence,
        details=list(judged.verdict.details),
        reason="",
        evidence={"kind": step.evidence, "given": judged.given, "kept": judged.keep()},
        at=at,
        by_id=person.id,
    )


def _repeated(case: Case, state: StepState, judged: Judged) -> RestoreStep | None:
    latest = case.latest_evidence(state.step.key)
    if latest is None or state.stale or not judged.once:
        return None
    same = latest.evidence["given"] == judged.given and verdict_of(latest) == judged.verdict
    return latest if same else None
