"""Add a block checksum to a layout, as a new version of it."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout_edit import with_checksum
from app.record import journal, layouts
from app.record.tables import Layout, Person


def add_block_checksum(
    session: Session, *, person: Person, at: dt.datetime, layout_id: int, definition: ChecksumDefinition
) -> Layout:
    """Keep the layout with the checksum as its next version.

    BadInput when its name or place is taken, Conflict when a newer version of the layout exists.
    """
    row = layouts.newest_version(session, layout_id)
    changed = with_checksum(layouts.require(session, row), definition)
    added = layouts.add_version(
        session,
        person=person,
        at=at,
        definitions=changed,
        previous=row,
        note=f"Block checksum “{definition.name}” added.",
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="add block checksum",
        sentence=f"Layout “{added.name}” version {added.version}: block checksum “{definition.name}” "
        f"({definition.algorithm}) added.",
        subject=("layout", added.id),
        facts={"sha256": added.sha256, "stored_at": definition.stored_at},
    )
    return added
