"""End the sign-in of one browser."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, sign_ins
from app.record.tables import Person


def sign_out(session: Session, *, person: Person, at: dt.datetime, token: str) -> None:
    """The token is worth nothing from now on, also to whoever copied it."""
    sign_ins.end(session, token)
    journal.append(
        session,
        at=at,
        person=person,
        action="sign out",
        sentence=f"{person.name} signed out.",
        subject=("person", person.id),
    )
