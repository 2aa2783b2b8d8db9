"""Compare a revision with its parent again under another layout version; the earlier comparison stays."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.delta import compare
from app.errors import Conflict
from app.record import analyses, journal, layouts, revisions, vehicles, warning_rules
from app.record.tables import Analysis, Person


def recompute_analysis(
    session: Session, *, person: Person, at: dt.datetime, revision_id: int, layout_id: int
) -> Analysis:
    """Add an analysis; Conflict for a revision without image or one compared with this layout already."""
    revision = revisions.revision(session, revision_id)
    base = revisions.base_of(session, revision)
    latest = revisions.analysis(session, revision.id)
    if latest is not None and latest.layout_id == layout_id:
        raise Conflict("This revision was compared with that layout version already.")
    after = revisions.image_of_node(session, revision)
    before = revisions.image_of_node(session, base)
    if after is None or before is None:
        raise Conflict("A comparison needs the images of the revision and of what it was made from.")
    layout = layouts.layout(session, layout_id)
    definitions = layouts.definitions(session, layout)
    comparison = warning_rules.warned(
        session, compare(before, after, definitions), definitions, lambda: revisions.stock_image(session, revision)
    )
    row = analyses.store(session, comparison, revision_id=revision.id, layout_id=layout.id, at=at, by_id=person.id)
    unit = vehicles.control_unit(session, revision.control_unit_id)
    journal.append(
        session,
        at=at,
        person=person,
        action="recompute deltas",
        sentence=f"Revision {revision.number} compared again under {layout.name} v{layout.version}: {row.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("revision", revision.id),
    )
    return row
