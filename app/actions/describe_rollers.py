"""Keep a dyno's rollers: inertia, radius and drag, for pulls that are recorded as roller speed alone."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.dyno.rollers import Rollers
from app.record import dyno, journal
from app.record.rollers import ROLLERS
from app.record.tables import Dyno, Person


def describe_rollers(session: Session, *, person: Person, at: dt.datetime, dyno_id: int, rollers: Rollers) -> Dyno:
    """Counts for the next pulls; those recorded before keep what they were computed with."""
    row = dyno.dyno(session, dyno_id)
    row.profile = {**(row.profile or {}), ROLLERS: rollers.to_json()}
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="describe rollers",
        sentence=f"Rollers of dyno “{row.name}”: {rollers.text}.",
        subject=("dyno", row.id),
        facts={"rollers": rollers.to_json()},
    )
    return row
