"""Make a token with which a program uses the API in a person's name."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import api_tokens, journal, people
from app.record.tables import Person


def create_token(session: Session, *, person: Person | None, at: dt.datetime, person_id: int, label: str) -> str:
    """The token's text, to be shown this once; it has the role of the person it speaks for."""
    holder = people.by_id(session, person_id)
    if not holder.active:
        raise Conflict(f"{holder.name} may not sign in, so a token for {holder.name} would not work.")
    row, token = api_tokens.make(session, person_id=person_id, label=label, at=at)
    journal.append(
        session,
        at=at,
        person=person,
        action="create token",
        sentence=f"API token “{row.label}” was made for {holder.name}.",
        subject=("api_token", row.id),
    )
    return token
