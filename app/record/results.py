"""Strip runs and economy trials of a car, with what they are attributed to."""

from collections.abc import Collection, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.tables import Attribution, EconomyTrial, StripRun

Attributed = dict[int, dict[int, Attribution]]


def strip_run(session: Session, run_id: int) -> StripRun:
    found = session.get(StripRun, run_id)
    if found is None:
        raise NotFound(f"There is no strip run {run_id}.")
    return found


def economy_trial(session: Session, trial_id: int) -> EconomyTrial:
    found = session.get(EconomyTrial, trial_id)
    if found is None:
        raise NotFound(f"There is no economy trial {trial_id}.")
    return found


def strip_runs(
    session: Session, vehicle_id: int, *, before: int | None = None, limit: int | None = None
) -> Sequence[StripRun]:
    """The last recorded first; `before` continues below that id."""
    query = select(StripRun).where(StripRun.vehicle_id == vehicle_id).order_by(StripRun.id.desc()).limit(limit)
    if before is not None:
        query = query.where(StripRun.id < before)
    return session.scalars(query).all()


def economy_trials(
    session: Session, vehicle_id: int, *, before: int | None = None, limit: int | None = None
) -> Sequence[EconomyTrial]:
    """The last recorded first; `before` continues below that id."""
    query = (
        select(EconomyTrial).where(EconomyTrial.vehicle_id == vehicle_id).order_by(EconomyTrial.id.desc()).limit(limit)
    )
    if before is not None:
        query = query.where(EconomyTrial.id < before)
    return session.scalars(query).all()


def strip_attributions(session: Session, run_ids: Collection[int]) -> Attributed:
    """Strip run id → control unit id → the attribution that applies (the latest)."""
    found: Attributed = {run_id: {} for run_id in run_ids}
    rows = session.scalars(select(Attribution).where(Attribution.strip_run_id.in_(run_ids)).order_by(Attribution.id))
    for row in rows:
        assert row.strip_run_id is not None
        found[row.strip_run_id][row.control_unit_id] = row
    return found


def economy_attributions(session: Session, trial_ids: Collection[int]) -> Attributed:
    """Economy trial id → control unit id → the attribution that applies (the latest)."""
    found: Attributed = {trial_id: {} for trial_id in trial_ids}
    rows = session.scalars(
        select(Attribution).where(Attribution.economy_trial_id.in_(trial_ids)).order_by(Attribution.id)
    )
    for row in rows:
        assert row.economy_trial_id is not None
        found[row.economy_trial_id][row.control_unit_id] = row
    return found


def build_of(attributed: dict[int, Attribution]) -> tuple[tuple[int, int | None], ...]:
    """What was on the car as a key: (control unit id, revision id or None for stock), in order."""
    return tuple(sorted((unit_id, one.revision_id) for unit_id, one in attributed.items()))
