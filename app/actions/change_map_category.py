"""Put a map of a layout into another category, as a new version of the layout."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.layout import CATEGORIES, Category
from app.calc.calibration.layout_edit import with_category
from app.errors import BadInput
from app.record import journal, layouts
from app.record.tables import Layout, Person


def change_map_category(
    session: Session, *, person: Person, at: dt.datetime, layout_id: int, name: str, category: str
) -> Layout:
    """Keep the layout with the map in this category as its next version.

    BadInput for a map that the layout lacks or a category that is none, Conflict when the map is in it already or a
    newer version of the layout exists.
    """
    chosen: dict[str, Category] = {one: one for one in CATEGORIES}
    if category not in chosen:
        raise BadInput(f"Choose one of {', '.join(CATEGORIES)}.", field="category")
    row = layouts.newest_version(session, layout_id)
    changed = with_category(layouts.require(session, row), name, chosen[category])
    added = layouts.add_version(
        session,
        person=person,
        at=at,
        definitions=changed,
        previous=row,
        note=f"Map “{name}” belongs to {category}.",
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="change category",
        sentence=f"Layout “{added.name}” version {added.version}: map “{name}” belongs to {category}.",
        subject=("layout", added.id),
        facts={"sha256": added.sha256},
    )
    return added
