"""People: who can sign in, in which role, and how they like to read numbers."""

import datetime as dt
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict, NotFound
from app.record.tables import ROLES, Person


def by_id(session: Session, person_id: int) -> Person:
    person = session.get(Person, person_id)
    if person is None:
        raise NotFound(f"There is no person {person_id}.")
    return person


def by_id_alone(session: Session, person_id: int) -> Person:
    """The person as they are now, kept from other writers until the transaction ends: for what is counted up."""
    person = session.get(Person, person_id, with_for_update=True, populate_existing=True)
    if person is None:
        raise NotFound(f"There is no person {person_id}.")
    return person


def by_name(session: Session, name: str) -> Person | None:
    """The person of that name, upper and lower case alike.

    Compared here, since SQLite's lower() leaves "Ø" as it is; a workshop has few people.
    """
    wanted = name.strip().casefold()
    return next((person for person in session.scalars(select(Person)) if person.name.casefold() == wanted), None)


def everyone(session: Session) -> list[Person]:
    return list(session.scalars(select(Person).order_by(Person.active.desc(), func.lower(Person.name))))


def names(session: Session) -> dict[int | None, str]:
    """Person id → name, active or not."""
    return {person.id: person.name for person in everyone(session)}


def anyone(session: Session) -> bool:
    """Whether there is any person at all; without one the first manager is to be set up."""
    return session.scalar(select(Person.id).limit(1)) is not None


def anyone_with_password(session: Session) -> bool:
    query = select(Person.id).where(Person.active, Person.password_hash.is_not(None)).limit(1)
    return session.scalar(query) is not None


def active_managers(session: Session) -> int:
    """How many there are, none of whom another writer can change until the transaction ends."""
    query = select(Person.id).where(Person.active, Person.role == "manager").order_by(Person.id).with_for_update()
    return len(session.scalars(query).all())


def add(session: Session, *, name: str, role: str, password_hash: str | None, at: dt.datetime) -> Person:
    """A new person; raises `BadInput` for an empty name or an unknown role, `Conflict` when the name is taken."""
    name = " ".join(name.split())
    if not name or len(name) > 64:
        raise BadInput("The name must have 1 to 64 characters.", field="name")
    check_role(role)
    if by_name(session, name) is not None:
        raise Conflict(f"There is already a person called {name}; choose another name.", field="name")
    person = Person(
        name=name, role=role, password_hash=password_hash, preferences={}, made_at=at, active=True, failed_sign_ins=0
    )
    session.add(person)
    session.flush()
    return person


def check_role(role: str) -> None:
    if role not in ROLES:
        raise BadInput(f"{role!r} is no role; choose one of {', '.join(ROLES)}.", field="role")


def set_preferences(session: Session, person_id: int, preferences: dict[str, Any]) -> None:
    # A new dict: a change inside the old one would go unnoticed.
    by_id(session, person_id).preferences = dict(preferences)
