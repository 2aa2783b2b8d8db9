"""Dynos, their sessions and runs."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.tables import Attribution, Dyno, DynoSession, InboxItem, Run, RunDecision


def dyno(session: Session, dyno_id: int) -> Dyno:
    found = session.get(Dyno, dyno_id)
    if found is None:
        raise NotFound(f"There is no dyno {dyno_id}.")
    return found


def dynos(session: Session) -> Sequence[Dyno]:
    return session.scalars(select(Dyno).order_by(Dyno.name)).all()


def dyno_session(session: Session, session_id: int) -> DynoSession:
    found = session.get(DynoSession, session_id)
    if found is None:
        raise NotFound(f"There is no dyno session {session_id}.")
    return found


def sessions_of_vehicle(session: Session, vehicle_id: int) -> Sequence[DynoSession]:
    """Newest first."""
    return session.scalars(
        select(DynoSession)
        .where(DynoSession.vehicle_id == vehicle_id)
        .order_by(DynoSession.measured_at.desc(), DynoSession.id.desc())
    ).all()


def sessions_of_dyno(session: Session, dyno_id: int) -> Sequence[DynoSession]:
    """Oldest first, for the dyno's history."""
    return session.scalars(
        select(DynoSession).where(DynoSession.dyno_id == dyno_id).order_by(DynoSession.measured_at, DynoSession.id)
    ).all()


@dataclass(frozen=True, slots=True)
class RunRecord:
    """A run with the decision that applies: included unless somebody excluded it, with the reason."""

    run: Run
    included: bool
    reason: str


def run(session: Session, run_id: int) -> Run:
    found = session.get(Run, run_id)
    if found is None:
        raise NotFound(f"There is no run {run_id}.")
    return found


def runs_of(session: Session, session_ids: Collection[int]) -> dict[int, list[RunRecord]]:
    """Session id → its runs in order, each with its decision."""
    rows = session.scalars(
        select(Run).where(Run.dyno_session_id.in_(session_ids)).order_by(Run.dyno_session_id, Run.position)
    ).all()
    query = (
        select(RunDecision)
        .join(Run, Run.id == RunDecision.run_id)
        .where(Run.dyno_session_id.in_(session_ids))
        .order_by(RunDecision.id)
    )
    decided = {decision.run_id: decision for decision in session.scalars(query)}
    found: dict[int, list[RunRecord]] = {session_id: [] for session_id in session_ids}
    for row in rows:
        decision = decided.get(row.id)
        found[row.dyno_session_id].append(
            RunRecord(row, decision is None or decision.included, "" if decision is None else decision.reason)
        )
    return found


def next_position(session: Session, session_id: int) -> int:
    return (session.scalar(select(func.max(Run.position)).where(Run.dyno_session_id == session_id)) or 0) + 1


def attributions(session: Session, session_ids: Collection[int]) -> dict[int, dict[int, Attribution]]:
    """Session id → control unit id → the attribution that applies (the latest)."""
    found: dict[int, dict[int, Attribution]] = {session_id: {} for session_id in session_ids}
    rows = session.scalars(
        select(Attribution).where(Attribution.dyno_session_id.in_(session_ids)).order_by(Attribution.id)
    )
    for row in rows:
        assert row.dyno_session_id is not None
        found[row.dyno_session_id][row.control_unit_id] = row
    return found


def inbox(session: Session) -> Sequence[InboxItem]:
    """Items that no run was made from, newest first."""
    taken = select(Run.inbox_item_id).where(Run.inbox_item_id.is_not(None))
    return session.scalars(select(InboxItem).where(InboxItem.id.not_in(taken)).order_by(InboxItem.id.desc())).all()


def inbox_item(session: Session, item_id: int) -> InboxItem:
    found = session.get(InboxItem, item_id)
    if found is None:
        raise NotFound(f"There is no inbox item {item_id}.")
    return found
