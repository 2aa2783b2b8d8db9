"""Revoke an API token."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import api_tokens, journal, people
from app.record.tables import ApiToken, Person


def revoke_token(session: Session, *, person: Person | None, at: dt.datetime, token_id: int) -> ApiToken:
    """The token is refused from now on; raises `Conflict` when it is revoked already."""
    row = api_tokens.revoke(session, token_id, at)
    holder = people.by_id(session, row.person_id)
    journal.append(
        session,
        at=at,
        person=person,
        action="revoke token",
        sentence=f"API token “{row.label}” of {holder.name} was revoked.",
        subject=("api_token", row.id),
    )
    return row
