"""Keys that work once: the first manager's set-up, and a sign-in link."""

import datetime as dt

from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from app.errors import Forbidden
from app.record.sign_ins import new_token, token_hash
from app.record.tables import OneTimeKey


def make(session: Session, purpose: str, at: dt.datetime, *, valid: dt.timedelta, person_id: int | None = None) -> str:
    """A new key for "first_manager" or "sign_in"; it is returned once and kept as its SHA-256."""
    if purpose == "first_manager":  # only the newest printed link works
        session.execute(delete(OneTimeKey).where(OneTimeKey.purpose == purpose, OneTimeKey.used_at.is_(None)))
    token = new_token()
    session.add(
        OneTimeKey(
            token_hash=token_hash(token), purpose=purpose, person_id=person_id, expires_at=at + valid, used_at=None
        )
    )
    return token


def is_valid(session: Session, token: str, purpose: str, at: dt.datetime) -> bool:
    key = session.get(OneTimeKey, token_hash(token))
    return key is not None and key.purpose == purpose and key.used_at is None and key.expires_at > at


def use(session: Session, token: str, purpose: str, at: dt.datetime) -> int | None:
    """Spend the key and return its person's id; raises `Forbidden` when it is unknown, used or expired."""
    spent = session.execute(
        update(OneTimeKey)
        .where(
            OneTimeKey.token_hash == token_hash(token),
            OneTimeKey.purpose == purpose,
            OneTimeKey.used_at.is_(None),
            OneTimeKey.expires_at > at,
        )
        .values(used_at=at)
        .returning(OneTimeKey.person_id)
    ).first()
    if spent is None:
        raise Forbidden("This link was used already or has expired; ask for a new one.")
    person_id: int | None = spent.person_id
    return person_id
