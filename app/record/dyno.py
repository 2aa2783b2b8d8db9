"""Dynos, their sessions and runs."""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.calc.dyno.comparability import Circumstances, compare_conditions
from app.errors import NotFound
from app.record.tables import (
    Attribution,
    ControlUnit,
    Dyno,
    DynoSession,
    Revision,
    Run,
    RunDecision,
    Vehicle,
)


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


def page_of_sessions(session: Session, vehicle_id: int, *, before: int | None, limit: int) -> Sequence[DynoSession]:
    """Sessions of a car with an id below `before`, the last recorded first."""
    query = select(DynoSession).where(DynoSession.vehicle_id == vehicle_id).order_by(DynoSession.id.desc()).limit(limit)
    if before is not None:
        query = query.where(DynoSession.id < before)
    return session.scalars(query).all()


def sessions_of_dyno(session: Session, dyno_id: int) -> Sequence[DynoSession]:
    """Oldest first, for the dyno's history."""
    return session.scalars(
        select(DynoSession).where(DynoSession.dyno_id == dyno_id).order_by(DynoSession.measured_at, DynoSession.id)
    ).all()


def session_ids_of_dyno(
    session: Session, dyno_id: int, *, until: dt.datetime | None = None, last: int | None = None
) -> Sequence[int]:
    """Ids of a dyno's sessions, newest first: those measured up to a moment, at most the `last` ones."""
    query = select(DynoSession.id).where(DynoSession.dyno_id == dyno_id)
    if until is not None:
        query = query.where(DynoSession.measured_at <= until)
    newest = query.order_by(DynoSession.measured_at.desc(), DynoSession.id.desc())
    return session.scalars(newest.limit(last)).all()


def hindrance(before: DynoSession, after: DynoSession) -> str:
    """Why no gain can ever be told between the two, or ""; their correction standards can be converted to one."""
    sides = (Circumstances(dyno=f"dyno {one.dyno_id}", gear=one.gear) for one in (before, after))
    return " and ".join(compare_conditions(*sides).blocking)


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
    decided = _decisions(session, session_ids)
    found: dict[int, list[RunRecord]] = {session_id: [] for session_id in session_ids}
    for row in rows:
        decision = decided.get(row.id)
        found[row.dyno_session_id].append(
            RunRecord(row, decision is None or decision.included, "" if decision is None else decision.reason)
        )
    return found


@dataclass(frozen=True, slots=True)
class PullKey:
    """A pull without its samples: which run it is, whether it counts, what its file says of torque and power.

    `corrected`: corrected by the dyno already. `measured_at`: "wheels", "engine", or None where the file says neither.
    """

    run_id: int
    position: int
    sha256: str
    included: bool
    reason: str
    corrected: bool
    measured_at: str | None


def pull_keys(session: Session, session_ids: Collection[int]) -> dict[int, list[PullKey]]:
    """Session id → its pulls in order; the samples are not read."""
    decided = _decisions(session, session_ids)
    rows = session.execute(
        select(Run.id, Run.dyno_session_id, Run.position, Run.sha256, Run.columns)
        .where(Run.dyno_session_id.in_(session_ids))
        .order_by(Run.dyno_session_id, Run.position)
    )
    found: dict[int, list[PullKey]] = {session_id: [] for session_id in session_ids}
    for run_id, session_id, position, sha256, columns in rows:
        decision = decided.get(run_id)
        output = [column for column in columns if column.get("quantity") in ("torque_nm", "power_kw")]
        places = {column.get("measured_at") for column in output} - {None}
        found[session_id].append(
            PullKey(
                run_id,
                position,
                sha256,
                decision is None or decision.included,
                "" if decision is None else decision.reason,
                any(column.get("corrected") is True for column in output),
                places.pop() if len(places) == 1 else None,
            )
        )
    return found


def counted_runs(session: Session, session_ids: Collection[int]) -> dict[int, tuple[tuple[int, str], ...]]:
    """Session id → (run id, digest of its file) of the pulls that count, in order: what a result follows from."""
    decided = _decisions(session, session_ids)
    rows = session.execute(
        select(Run.id, Run.dyno_session_id, Run.sha256)
        .where(Run.dyno_session_id.in_(session_ids))
        .order_by(Run.dyno_session_id, Run.position)
    )
    found: dict[int, list[tuple[int, str]]] = {session_id: [] for session_id in session_ids}
    for run_id, session_id, sha256 in rows:
        if run_id not in decided or decided[run_id].included:
            found[session_id].append((run_id, sha256))
    return {session_id: tuple(runs) for session_id, runs in found.items()}


def _decisions(session: Session, session_ids: Collection[int]) -> dict[int, RunDecision]:
    """Run id → the decision that applies (the latest)."""
    query = (
        select(RunDecision)
        .join(Run, Run.id == RunDecision.run_id)
        .where(Run.dyno_session_id.in_(session_ids))
        .order_by(RunDecision.id)
    )
    return {decision.run_id: decision for decision in session.scalars(query)}


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


def recent_sessions(session: Session, limit: int) -> Sequence[tuple[DynoSession, Vehicle]]:
    """The newest sessions of all cars."""
    rows = session.execute(
        select(DynoSession, Vehicle)
        .join(Vehicle, Vehicle.id == DynoSession.vehicle_id)
        .order_by(DynoSession.measured_at.desc(), DynoSession.id.desc())
        .limit(limit)
    )
    return [(row, vehicle) for row, vehicle in rows]


def on_car_words(session: Session, session_ids: Collection[int]) -> dict[int, str]:
    """Session id → what was on the car in words: "engine revision 3, transmission stock"."""
    return attributed_words(session, attributions(session, session_ids))


def attributed_words(session: Session, found: Mapping[int, Mapping[int, Attribution]]) -> dict[int, str]:
    """Result id → its attributions in words, from the attributions by result and control unit."""
    unit_ids = {unit_id for units in found.values() for unit_id in units}
    named = select(ControlUnit.id, ControlUnit.role).where(ControlUnit.id.in_(unit_ids))
    roles = {unit_id: role for unit_id, role in session.execute(named)}  # noqa: C416 - a result has keys(), dict() trips
    wanted = {a.revision_id for units in found.values() for a in units.values() if a.revision_id is not None}
    numbered = select(Revision.id, Revision.number).where(Revision.id.in_(wanted))
    numbers = {revision_id: number for revision_id, number in session.execute(numbered)}  # noqa: C416 - as above
    words = {}
    for result_id, units in found.items():
        parts = [
            f"{roles[unit_id]} {'stock' if a.revision_id is None else f'revision {numbers[a.revision_id]}'}"
            for unit_id, a in sorted(units.items())
        ]
        words[result_id] = ", ".join(parts) or "no control unit on record"
    return words
