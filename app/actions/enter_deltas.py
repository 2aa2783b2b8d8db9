"""Enter what a revision without an image changes."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.calc.calibration.manual_delta import comparison_by_hand
from app.calc.calibration.map_delta import MapDelta
from app.calc.number_text import counted
from app.errors import BadInput, Conflict
from app.record import analyses, journal, revisions, vehicles
from app.record.tables import Analysis, Person


def enter_deltas(
    session: Session, *, person: Person, at: dt.datetime, revision_id: int, deltas: Sequence[MapDelta]
) -> Analysis:
    """Add the changes to those entered before; one of a map entered already takes its place, and both stay on record.

    Raises Conflict for a revision with an image, whose bytes say what changed, and BadInput without any change or
    with a map named twice.
    """
    revision = revisions.revision(session, revision_id)
    if revision.kind != "by hand":
        raise Conflict(f"Revision {revision.number} has an image: what it changes is computed from its bytes.")
    names = [delta.name for delta in deltas]
    if not names:
        raise BadInput("Enter at least one map that was changed.", field="csv")
    latest = revisions.analysis(session, revision.id)
    earlier = [] if latest is None else analyses.deltas_of(session, latest.id)
    kept = [delta for delta in earlier if delta.name not in set(names)]
    comparison = comparison_by_hand([*kept, *deltas])
    row = analyses.store(session, comparison, revision_id=revision.id, layout_id=None, at=at, by_id=person.id)
    unit = vehicles.control_unit(session, revision.control_unit_id)
    journal.append(
        session,
        at=at,
        person=person,
        action="enter deltas",
        sentence=f"Entered by hand for revision {revision.number} of {unit.role}: {', '.join(names[:5])}"
        + (f" and {counted(len(names) - 5, 'more map')}." if len(names) > 5 else "."),
        vehicle_id=unit.vehicle_id,
        subject=("revision", revision.id),
        facts={"maps": names},
    )
    return row
