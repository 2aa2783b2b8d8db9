"""Name a range of bytes: it becomes a map of the layout, as a new version of it."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.layout import MapDefinition
from app.calc.calibration.layout_edit import with_map
from app.errors import BadInput
from app.record import journal, layouts
from app.record.tables import Layout, Person


def name_range(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    layout_id: int | None,
    definition: MapDefinition,
    new_layout: str = "",
    software_number: str = "",
) -> Layout:
    """Keep the layout with the map as its next version.

    `layout_id` None begins a layout named `new_layout` for the software number. The layout must be the newest version
    of its name, so that nothing another person added in between is lost: BadInput otherwise, and for a name or bytes
    that are taken.
    """
    if layout_id is None:
        base, row = Definitions(new_layout.strip() or "unnamed"), None
        if not new_layout.strip():
            raise BadInput("Give the new layout a name, for example the control unit and its software.", field="layout")
    else:
        row = layouts.newest_version(session, layout_id)
        base = layouts.require(session, row)
    changed = with_map(base, definition)
    added = layouts.add_version(
        session,
        person=person,
        at=at,
        definitions=changed,
        previous=row,
        software_number=software_number,
        note=f"Map “{definition.name}” added.",
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="name range",
        sentence=f"Layout “{added.name}” version {added.version}: map “{definition.name}” named.",
        subject=("layout", added.id),
        facts={"sha256": added.sha256, "map": definition.name, "address": definition.address},
    )
    return added
