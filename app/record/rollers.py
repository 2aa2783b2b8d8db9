"""What a dyno's profile keeps: the columns of its files by their headings, and its rollers beside them."""

from typing import Any

from app.calc.dyno.rollers import Rollers
from app.record.tables import Dyno

# Headings are stripped when they are read, so no column can have this one.
ROLLERS = " rollers"


def columns_of(place: Dyno) -> dict[str, dict[str, Any]] | None:
    """The columns that a person has confirmed; None while nobody has confirmed any."""
    found = {heading: choice for heading, choice in (place.profile or {}).items() if heading != ROLLERS}
    return found or None


def rollers_of(place: Dyno) -> Rollers | None:
    """The rollers as kept last; None while nobody has entered them."""
    kept = (place.profile or {}).get(ROLLERS)
    return None if kept is None else Rollers.from_json(kept)
