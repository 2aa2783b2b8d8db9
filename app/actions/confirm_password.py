"""A person types their password again before signing or overriding; a wrong one is counted as at sign-in."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, people, sign_ins
from app.record.tables import Person


def confirm_password(session: Session, *, person: Person, at: dt.datetime, password_fits: bool) -> bool:
    """Whether the password counts: it fits and the person is not locked.

    `password_fits` was found out before, because hashing takes longer than the record may be held.
    """
    current = people.by_id_alone(session, person.id)
    if sign_ins.is_locked(current, at):
        return False
    if password_fits:
        return True
    if sign_ins.count_failure(current, at):
        journal.append(
            session,
            at=at,
            person=None,
            action="lock sign-in",
            sentence=f"Sign-in of {current.name} is locked for a while: {current.failed_sign_ins} wrong passwords.",
            subject=("person", current.id),
        )
    return False
