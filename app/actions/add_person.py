"""Add a person who can sign in."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, people
from app.record.passwords import hash_password, refuse_weak
from app.record.tables import Person


def add_person(
    session: Session, *, person: Person | None, at: dt.datetime, name: str, role: str, password: str | None
) -> Person:
    """The new person; `person` is None from the command line. Without a password only a link signs in."""
    people.check_role(role)
    hashed = None
    if password is not None:
        refuse_weak(password, name)
        hashed = hash_password(password)
    added = people.add(session, name=name, role=role, password_hash=hashed, at=at)
    journal.append(
        session,
        at=at,
        person=person,
        action="add person",
        sentence=f"{added.name} was added as {role.replace('_', ' ')}.",
        subject=("person", added.id),
    )
    return added
