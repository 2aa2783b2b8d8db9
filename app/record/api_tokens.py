"""Tokens with which programs use the API in a person's name. Only the SHA-256 of a token is kept."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict, NotFound
from app.record.sign_ins import new_token, token_hash
from app.record.tables import ApiToken, Person

PREFIX = "revledger-"


def make(session: Session, *, person_id: int, label: str, at: dt.datetime) -> tuple[ApiToken, str]:
    """A new token and its text, which is shown this once."""
    label = " ".join(label.split())
    if not label or len(label) > 80:
        raise BadInput("Say in 1 to 80 characters what the token is for.", field="label")
    token = PREFIX + new_token()
    row = ApiToken(person_id=person_id, label=label, token_hash=token_hash(token), made_at=at, revoked_at=None)
    session.add(row)
    session.flush()
    return row, token


def find(session: Session, token: str) -> Person | None:
    """The active person in whose name the token speaks, detached; None when it is unknown or revoked."""
    person = session.scalar(
        select(Person)
        .join(ApiToken, ApiToken.person_id == Person.id)
        .where(ApiToken.token_hash == token_hash(token), ApiToken.revoked_at.is_(None), Person.active)
    )
    if person is not None:
        session.expunge(person)
    return person


def everyones(session: Session) -> list[ApiToken]:
    return list(session.scalars(select(ApiToken).order_by(ApiToken.id)))


def revoke(session: Session, token_id: int, at: dt.datetime) -> ApiToken:
    row = session.get(ApiToken, token_id)
    if row is None:
        raise NotFound(f"There is no token {token_id}.")
    if row.revoked_at is not None:
        raise Conflict(f"The token “{row.label}” is revoked already.")
    row.revoked_at = at
    return row
