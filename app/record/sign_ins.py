"""Browsers that are signed in. A token is shown to the browser once; the record keeps its SHA-256 only."""

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from app.record.tables import Person, SignIn

TRIES = 5
_FIRST_DELAY_S = 15
_LONGEST_DELAY_S = 900


def new_token() -> str:
    return secrets.token_urlsafe(32)


def token_hash(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


def start(session: Session, person_id: int, at: dt.datetime) -> str:
    """Sign a browser in and return the token for its cookie."""
    token = new_token()
    session.add(SignIn(token_hash=token_hash(token), person_id=person_id, made_at=at, seen_at=at))
    return token


@dataclass(frozen=True, slots=True)
class Found:
    """A valid sign-in; `person` is detached, so that it can be read after the session has ended."""

    person: Person
    seen_at: dt.datetime


def find(session: Session, token: str, at: dt.datetime, *, idle: dt.timedelta, absolute: dt.timedelta) -> Found | None:
    """Who holds the token, or None when it is unknown, ended, too old, or the person is no longer active."""
    row = session.execute(
        select(SignIn.made_at, SignIn.seen_at, Person)
        .join(Person, Person.id == SignIn.person_id)
        .where(SignIn.token_hash == token_hash(token), Person.active)
    ).first()
    if row is None:
        return None
    made_at, seen_at, person = row
    if seen_at + idle <= at or made_at + absolute <= at:
        return None
    session.expunge(person)
    return Found(person, seen_at)


def see(session: Session, token: str, at: dt.datetime) -> None:
    session.execute(update(SignIn).where(SignIn.token_hash == token_hash(token)).values(seen_at=at))


def end(session: Session, token: str) -> None:
    session.execute(delete(SignIn).where(SignIn.token_hash == token_hash(token)))


def end_all(session: Session, person_id: int) -> None:
    """End every sign-in of a person: after a change of password or role, or when the person leaves."""
    session.execute(delete(SignIn).where(SignIn.person_id == person_id))


def forget_old(session: Session, before: dt.datetime) -> None:
    session.execute(delete(SignIn).where(SignIn.made_at < before))


def is_locked(person: Person, at: dt.datetime) -> bool:
    return person.locked_until is not None and person.locked_until > at


def count_failure(person: Person, at: dt.datetime) -> bool:
    """Count a wrong password; from the fifth on each one locks for twice as long, up to 15 minutes.

    That leaves about 4 guesses an hour in the long run. Returns whether the person is now locked.
    """
    person.failed_sign_ins += 1
    over = person.failed_sign_ins - TRIES
    if over < 0:
        return False
    seconds = min(_LONGEST_DELAY_S, _FIRST_DELAY_S * 2 ** min(over, 10))
    person.locked_until = at + dt.timedelta(seconds=seconds)
    return True


def clear_failures(person: Person) -> None:
    person.failed_sign_ins = 0
    person.locked_until = None
