"""Put a dyno file back into the inbox that was given to the wrong session."""

import datetime as dt
from itertools import groupby

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import dyno, inbox, journal
from app.record.tables import InboxItem, Person, RunDecision


def put_back_file(session: Session, *, person: Person, at: dt.datetime, item_id: int) -> InboxItem:
    """The file's pulls no longer count in the session that has them, and the file can be given to another one. The
    pulls stay on record, and taking one in again gives the file back to its session."""
    item = inbox.item(session, item_id)
    runs = inbox.runs_from(session, item.id)
    if not runs:
        raise Conflict("This file is in the inbox already.")
    for session_id, group in groupby(runs, key=lambda run: run.dyno_session_id):
        positions = []
        for run in group:
            positions.append(str(run.position))
            session.add(RunDecision(run_id=run.id, included=False, reason=inbox.PUT_BACK, at=at, by_id=person.id))
        session.flush()
        which = f"Pull {positions[0]}" if len(positions) == 1 else f"Pulls {', '.join(positions)}"
        journal.append(
            session,
            at=at,
            person=person,
            action="put back file",
            sentence=f"{which} excluded, the file is back in the inbox: it was given to the wrong dyno session.",
            vehicle_id=dyno.dyno_session(session, session_id).vehicle_id,
            subject=("dyno_session", session_id),
            facts={"sha256": item.sha256},
        )
    return item
