"""Change how one person reads numbers and sees the screen."""

import datetime as dt
from typing import Any

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import journal, people
from app.record.tables import Person

THEMES = ("system", "light", "dark")


def change_preferences(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    theme: str | None = None,
    units: dict[str, str] | None = None,
) -> dict[str, Any]:
    """The person's preferences after the change: `units` maps quantities to unit symbols, which the caller checked."""
    if theme is not None and theme not in THEMES:
        raise BadInput(f"“{theme}” is no choice; choose one of {', '.join(THEMES)}.", field="theme")
    preferences = dict(people.by_id(session, person.id).preferences)
    if theme is not None:
        preferences["theme"] = theme
    if units is not None:
        preferences["units"] = dict(units)
    people.set_preferences(session, person.id, preferences)
    journal.append(
        session,
        at=at,
        person=person,
        action=journal.CHANGE_PREFERENCES,
        sentence=f"{person.name} changed how numbers or the screen are shown.",
        subject=("person", person.id),
        facts=preferences,
    )
    return preferences
