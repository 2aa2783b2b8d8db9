"""Dyno files that belong to no dyno session yet, and those given to one lately."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.tables import DynoSession, InboxItem, Run, RunDecision, Vehicle

# The reason of the decision that puts a pull's file back; taking the pull in again takes the file out of the inbox.
PUT_BACK = "Put back into the inbox: given to the wrong dyno session."


def _put_back() -> Select[int]:
    """Ids of runs whose latest decision put their file back."""
    latest = select(func.max(RunDecision.id)).group_by(RunDecision.run_id)
    return select(RunDecision.run_id).where(
        RunDecision.id.in_(latest), RunDecision.included.is_(False), RunDecision.reason == PUT_BACK
    )


def waiting(session: Session) -> Sequence[InboxItem]:
    """Items that no run stands for, newest first."""
    taken = select(Run.inbox_item_id).where(Run.inbox_item_id.is_not(None), Run.id.not_in(_put_back()))
    return session.scalars(select(InboxItem).where(InboxItem.id.not_in(taken)).order_by(InboxItem.id.desc())).all()


def item(session: Session, item_id: int) -> InboxItem:
    found = session.get(InboxItem, item_id)
    if found is None:
        raise NotFound(f"There is no inbox item {item_id}.")
    return found


def runs_from(session: Session, item_id: int) -> Sequence[Run]:
    """The runs that were made from an item and stand for it, in order."""
    query = select(Run).where(Run.inbox_item_id == item_id, Run.id.not_in(_put_back()))
    return session.scalars(query.order_by(Run.dyno_session_id, Run.position)).all()


@dataclass(frozen=True, slots=True)
class Given:
    """A file of the inbox and the dyno session that it was given to."""

    item: InboxItem
    dyno_session: DynoSession
    vehicle: Vehicle
    at: dt.datetime


def given_lately(session: Session, limit: int) -> list[Given]:
    """The last given first; without those that were put back."""
    rows = session.execute(
        select(InboxItem, DynoSession, Vehicle, func.max(Run.at))
        .join(Run, Run.inbox_item_id == InboxItem.id)
        .join(DynoSession, DynoSession.id == Run.dyno_session_id)
        .join(Vehicle, Vehicle.id == DynoSession.vehicle_id)
        .where(Run.id.not_in(_put_back()))
        .group_by(InboxItem.id, DynoSession.id, Vehicle.id)
        .order_by(func.max(Run.id).desc())
        .limit(limit)
    )
    return [Given(*row) for row in rows]
