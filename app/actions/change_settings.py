"""Change the workshop's settings."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import journal, settings
from app.record.settings import Shop
from app.record.tables import Person


def change_settings(session: Session, *, person: Person, at: dt.datetime, wanted: Shop) -> Shop:
    """Keep the settings that differ; raises `BadInput` for one outside its bounds, `Conflict` when none differs."""
    changed = settings.store(session, wanted)
    if not changed:
        raise Conflict("Nothing would change.")
    listed = ", ".join(f"{name.replace('_', ' ')} {before} → {after}" for name, (before, after) in changed.items())
    journal.append(
        session,
        at=at,
        person=person,
        action="change settings",
        sentence=f"Workshop settings changed: {listed}.",
        facts={name: list(pair) for name, pair in changed.items()},
    )
    return wanted
