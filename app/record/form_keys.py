"""Forms that were taken: where the first sending of each led."""

import datetime as dt

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.record.tables import FormKey


def location(session: Session, key: str, person_id: int | None) -> str | None:
    """Where this form led when this person sent it before; None when it is new."""
    row = session.get(FormKey, key)
    return row.location if row is not None and row.person_id == person_id else None


def remember(session: Session, key: str, *, person_id: int | None, location: str, at: dt.datetime) -> None:
    """Keep the form in the same transaction as its act; a key that is there already fails the flush."""
    session.add(FormKey(key=key, person_id=person_id, location=location, at=at))
    session.flush()


def forget_old(session: Session, before: dt.datetime) -> None:
    session.execute(delete(FormKey).where(FormKey.at < before))
