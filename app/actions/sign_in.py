"""Sign a browser in, or count the failure."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, people, sign_ins
from app.record.tables import Person


def sign_in(
    session: Session,
    *,
    person: Person | None,
    at: dt.datetime,
    password_fits: bool,
    old_token: str | None,
) -> str | None:
    """The new token, or None when the sign-in is refused.

    `person` is whoever has the given name; `password_fits` was found out before, because hashing takes longer than
    the record may be held. The browser's old token ends, so that one planted by somebody else is worth nothing.
    """
    if person is None:
        return None
    current = people.by_id_alone(session, person.id)
    if not current.active or sign_ins.is_locked(current, at):
        return None
    if not password_fits:
        if sign_ins.count_failure(current, at):
            journal.append(
                session,
                at=at,
                person=None,
                action="lock sign-in",
                sentence=f"Sign-in of {current.name} is locked for a while: {current.failed_sign_ins} wrong passwords.",
                subject=("person", current.id),
            )
        return None
    sign_ins.clear_failures(current)
    if old_token is not None:
        sign_ins.end(session, old_token)
    token = sign_ins.start(session, current.id, at)
    journal.append(
        session,
        at=at,
        person=current,
        action="sign in",
        sentence=f"{current.name} signed in.",
        subject=("person", current.id),
    )
    return token
