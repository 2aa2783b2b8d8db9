"""Take a dyno file from a folder into the inbox of runs that belong to no session yet."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.readers.dyno_csv import DynoFile
from app.record import content, journal
from app.record.tables import InboxItem, Person


def add_inbox_item(
    session: Session,
    *,
    person: Person | None,
    at: dt.datetime,
    uploaded: bytes,
    file_name: str,
    found: DynoFile,
    recorded_at: dt.datetime,
) -> tuple[InboxItem, bool]:
    """Keep the file; returns the item and whether the same file was in the inbox or taken from it already."""
    digest = content.put(session, uploaded, at=at)
    known = session.scalar(select(InboxItem).where(InboxItem.sha256 == digest).limit(1))
    if known is not None:
        return known, True
    item = InboxItem(
        sha256=digest,
        file_name=file_name,
        recorded_at=recorded_at,
        summary={
            "pulls": len(found.pulls),
            "channels": sorted(found.pulls[0].channels) if found.pulls else [],
            "findings": [*found.notes, *(slip.sentence for slip in found.slips)],
        },
        at=at,
        by_id=None if person is None else person.id,
    )
    session.add(item)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="add inbox item",
        sentence=f"Dyno file with {counted(len(found.pulls), 'pull')} taken into the inbox.",
        subject=("inbox_item", item.id),
        facts={"sha256": digest},
    )
    return item, False
