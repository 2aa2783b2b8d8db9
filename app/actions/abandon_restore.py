"""End a restore that will not be finished, without a certificate."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Forbidden
from app.record import journal, restores
from app.record.tables import Person, RestoreAbandonment

SHORTEST_REASON = 10


def abandon_restore(
    session: Session, *, person: Person, at: dt.datetime, restore_id: int, reason: str
) -> RestoreAbandonment:
    """Keep why the case ends. Its evidence stays on record, and what waits because of a write (a read-back, coding)
    goes on waiting. The same reason again changes nothing."""
    if person.role not in ("tuner", "manager"):
        raise Forbidden("Only a tuner or a manager may abandon a restore; ask one of them.")
    case = restores.case(session, restore_id, lock=True)
    reason = " ".join(reason.split())
    if case.abandonment is not None and case.abandonment.reason == reason:
        return case.abandonment
    case.require_open()
    if len(reason) < SHORTEST_REASON:
        raise BadInput("Write in a sentence why this restore is not finished.", field="reason")
    row = RestoreAbandonment(restore_id=restore_id, reason=reason, at=at, by_id=person.id)
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="abandon restore",
        sentence=f"Restore {case.restore.number} abandoned without a certificate: {reason}",
        vehicle_id=case.restore.vehicle_id,
        subject=("restore", restore_id),
        facts={"reason": reason},
    )
    return row
