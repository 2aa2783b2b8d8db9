"""A manager closes a step of a restore without, or against, its evidence."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict, Forbidden
from app.record import journal, restores
from app.record.tables import Person, RestoreStep

SHORTEST_REASON = 10


def override_restore_step(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    restore_id: int,
    key: str,
    reason: str,
    password_fits: bool,
) -> RestoreStep:
    """Record the decision with its reason, which prints on the certificate.

    `password_fits` was found out before, because hashing takes longer than the record may be held. Newer evidence
    takes the override's place. The same reason again changes nothing.
    """
    if person.role != "manager":
        raise Forbidden("Only a manager may override a step; ask one of them.")
    case = restores.case(session, restore_id, lock=True)
    case.require_open()
    case.require_unsigned()
    step = case.work_step(key)
    state = case.require_reached(key)
    if not password_fits:
        raise BadInput("The password is wrong; type your own password again.", field="password")
    reason = _reason(reason)
    if state.state == "done":
        if state.override is not None and state.override.reason == reason:
            return case.entries[key][-1]
        raise Conflict("This step is closed already; there is nothing to override.")
    row = _entry(person, at, restore_id, key, reason)
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="override step",
        sentence=f"Restore {case.restore.number}, {step.title}: overridden. {reason}",
        vehicle_id=case.restore.vehicle_id,
        subject=("restore", restore_id),
        facts={"key": key, "reason": reason},
    )
    return row


def _reason(text: str) -> str:
    reason = " ".join(text.split())
    if len(reason) < SHORTEST_REASON:
        raise BadInput("Write the reason in a sentence; it prints on the certificate.", field="reason")
    return reason


def _entry(person: Person, at: dt.datetime, restore_id: int, key: str, reason: str) -> RestoreStep:
    return RestoreStep(
        restore_id=restore_id,
        key=key,
        outcome="overridden",
        sentence=f"Overridden by {person.name}.",
        details=[],
        reason=reason,
        evidence={},
        at=at,
        by_id=person.id,
    )
