"""Sign a browser in with a link that works once."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Forbidden
from app.record import journal, one_time_keys, people, sign_ins
from app.record.tables import Person


def sign_in_by_link(
    session: Session, *, person: Person | None, at: dt.datetime, key: str, old_token: str | None
) -> str:
    """The new token; raises `Forbidden` when the link was used, has expired, or its person is not active."""
    person_id = one_time_keys.use(session, key, "sign_in", at)
    current = None if person_id is None else people.by_id(session, person_id)
    if current is None or not current.active:
        raise Forbidden("This link belongs to nobody who may sign in; ask for a new one.")
    if old_token is not None:
        sign_ins.end(session, old_token)
    token = sign_ins.start(session, current.id, at)
    journal.append(
        session,
        at=at,
        person=current,
        action="sign in",
        sentence=f"{current.name} signed in by a link that works once.",
        subject=("person", current.id),
    )
    return token
