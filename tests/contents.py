"""Everything a database holds, for tests that compare before with after."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.record.tables import Base


def contents(session: Session) -> dict[str, list[tuple[object, ...]]]:
    """Table → its rows, in no promised order but the same for the same rows."""
    session.flush()
    return {
        table.name: sorted((tuple(row) for row in session.execute(select(table))), key=repr)
        for table in Base.metadata.sorted_tables
    }


def added(before: dict[str, list[tuple[object, ...]]], session: Session) -> dict[str, int]:
    """Table → number of rows more than before; tables without any are left out."""
    after = contents(session)
    return {name: len(rows) - len(before[name]) for name, rows in after.items() if len(rows) != len(before[name])}
