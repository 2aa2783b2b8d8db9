"""Put a dyno on record."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal
from app.record.tables import Dyno, Person


def add_dyno(session: Session, *, person: Person, at: dt.datetime, name: str, note: str = "") -> Dyno:
    """Name the dyno; its column profile and its repeatability history grow from use."""
    if not name.strip():
        raise BadInput("Give the dyno a name, for example its bay.", field="name")
    if session.scalar(select(Dyno).where(Dyno.name == name.strip())) is not None:
        raise Conflict(f"A dyno named “{name.strip()}” is on record already.", field="name")
    row = Dyno(name=name.strip(), note=note.strip(), profile=None, made_at=at)
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="add dyno",
        sentence=f"Dyno “{row.name}” added.",
        subject=("dyno", row.id),
    )
    return row
