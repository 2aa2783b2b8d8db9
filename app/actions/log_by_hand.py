"""Log a revision of which the shop has no image, only notes of what was changed."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import journal, revisions, stocks, vehicles
from app.record.revisions import NewRevision
from app.record.tables import Person, Revision

__all__ = ["NewRevision", "log_by_hand"]


def log_by_hand(
    session: Session, *, person: Person, at: dt.datetime, control_unit_id: int, revision: NewRevision
) -> Revision:
    """Keep the revision as entered by hand; what it changes is entered afterwards, map by map.

    Stock need not be on record. Raises BadInput for a missing title or purpose, Conflict for a parent of another
    control unit.
    """
    unit = vehicles.control_unit(session, control_unit_id)
    revision.check()
    stock = stocks.current(session, unit.id)
    stock_id = None if stock is None else stock.id
    if revision.parent_id is not None:
        parent = revisions.revision(session, revision.parent_id)
        revisions.require_same_unit(parent, unit.id, field="parent_id")
        stock_id = parent.stock_id
    row = revisions.add(session, person=person, at=at, unit_id=unit.id, new=revision, kind="by hand", stock_id=stock_id)
    journal.append(
        session,
        at=at,
        person=person,
        action="log revision",
        sentence=f"Revision {row.number} “{row.title}” of {unit.role} logged by hand, without an image.",
        vehicle_id=unit.vehicle_id,
        subject=("revision", row.id),
        facts={"sha256": None, "parent_id": row.parent_id, "layout_id": None, "purpose": row.purpose},
    )
    return row
