"""Set up the first manager with the key that the server printed at its first start."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import journal, one_time_keys, people
from app.record.passwords import hash_password, refuse_weak
from app.record.tables import Person


def create_first_manager(
    session: Session, *, person: Person | None, at: dt.datetime, key: str, name: str, password: str
) -> Person:
    """The first person of an empty record; raises `Conflict` when there is already one, `Forbidden` for a spent key."""
    refuse_weak(password, name)
    hashed = hash_password(password)
    if people.anyone(session):
        raise Conflict("The first manager is set up already; sign in instead.")
    one_time_keys.use(session, key, "first_manager", at)
    first = people.add(session, name=name, role="manager", password_hash=hashed, at=at)
    journal.append(
        session,
        at=at,
        person=first,
        action="create first manager",
        sentence=f"{first.name} set up this record as its first manager.",
        subject=("person", first.id),
    )
    return first
