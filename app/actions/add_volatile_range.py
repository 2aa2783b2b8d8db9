"""Say that a control unit rewrites a range by itself, as a new version of the layout."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.layout import VolatileRange
from app.calc.calibration.layout_edit import with_volatile
from app.errors import BadInput
from app.record import journal, layouts
from app.record.tables import Layout, Person


def add_volatile_range(
    session: Session, *, person: Person, at: dt.datetime, layout_id: int, volatile: VolatileRange
) -> Layout:
    """Keep the layout with the range as its next version.

    A read-back may differ in such a range, so its reason is asked for. BadInput without one or when the range is
    empty or overlaps another, Conflict when a newer version of the layout exists.
    """
    if not volatile.reason.strip():
        raise BadInput("Write why the control unit rewrites this range, for example adaptations.", field="reason")
    row = layouts.newest_version(session, layout_id)
    changed = with_volatile(layouts.require(session, row), volatile)
    place = f"0x{volatile.start:X} to 0x{volatile.end - 1:X}"
    added = layouts.add_version(
        session,
        person=person,
        at=at,
        definitions=changed,
        previous=row,
        note=f"Range {place} that the control unit rewrites itself added.",
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="add volatile range",
        sentence=f"Layout “{added.name}” version {added.version}: the control unit rewrites {place} itself "
        f"({volatile.reason.strip()}).",
        subject=("layout", added.id),
        facts={"sha256": added.sha256, "start": volatile.start, "end": volatile.end},
    )
    return added
