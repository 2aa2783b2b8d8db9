"""Words that the pages of a restore share."""

from sqlalchemy.orm import Session

from app.record import dyno, people
from app.record.tables import DynoSession
from app.web.page import when


def session_words(session: Session, row: DynoSession) -> str:
    return f"{row.purpose}, {when(row.measured_at)}, {dyno.dyno(session, row.dyno_id).name}"


def name_of(session: Session, person_id: int | None) -> str:
    return "the program" if person_id is None else people.by_id(session, person_id).name
