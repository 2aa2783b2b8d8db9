"""Confirm what the columns of a dyno's files hold, for every file that comes from now on."""

import datetime as dt
from typing import Any

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import dyno, journal
from app.record.rollers import columns_of
from app.record.tables import Dyno, Person


def confirm_columns(
    session: Session, *, person: Person, at: dt.datetime, dyno_id: int, columns: dict[str, dict[str, Any]]
) -> Dyno:
    """Keep the columns by their headings; earlier files stay as they were read.

    `columns` maps a heading to its quantity (a channel's name, "pull" or "ignore") and unit. Headings confirmed before
    and not named here keep their meaning.
    """
    row = dyno.dyno(session, dyno_id)
    if not columns:
        raise BadInput("Name at least one column.", field="columns")
    before = row.profile or {}
    changed = {header: choice for header, choice in columns.items() if before.get(header) != choice}
    row.profile = {**before, **columns}
    session.flush()
    listed = ", ".join(f"“{header}” is {choice['quantity']}" for header, choice in changed.items()) or "as before"
    journal.append(
        session,
        at=at,
        person=person,
        action="confirm columns",
        sentence=f"Columns of dyno “{row.name}” confirmed: {listed}.",
        subject=("dyno", row.id),
        facts={"columns": columns_of(row) or {}},
    )
    return row
