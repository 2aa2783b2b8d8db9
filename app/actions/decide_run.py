"""Exclude a pull from its session with a written reason, or take it in again."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import dyno, journal
from app.record.tables import Person, RunDecision


def decide_run(
    session: Session, *, person: Person, at: dt.datetime, run_id: int, included: bool, reason: str
) -> RunDecision:
    """The pull itself stays on record either way; a statistic never decides this, a person does."""
    run = dyno.run(session, run_id)
    if len(reason.strip()) < 3:
        raise BadInput("Write the reason: it is shown with every result of the dyno session.", field="reason")
    row = RunDecision(run_id=run.id, included=included, reason=reason.strip(), at=at, by_id=person.id)
    session.add(row)
    session.flush()
    verb = "taken in again" if included else "excluded"
    journal.append(
        session,
        at=at,
        person=person,
        action="decide run",
        sentence=f"Pull {run.position} {verb}: {reason.strip()}",
        vehicle_id=dyno.dyno_session(session, run.dyno_session_id).vehicle_id,
        subject=("dyno_session", run.dyno_session_id),
    )
    return row
