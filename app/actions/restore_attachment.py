"""Attach a file again that was taken back by mistake."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import attachments, content, journal, vehicles
from app.record.tables import Attachment, Person


def restore_attachment(session: Session, *, person: Person, at: dt.datetime, attachment_id: int) -> Attachment:
    """The file as it is stored, attached anew; that it was taken back, and why, stays in the history."""
    old = vehicles.attachment(session, attachment_id)
    if not vehicles.is_withdrawn(session, old.id):
        raise Conflict("This file was not taken back; it is attached.")
    row, known = attachments.keep(
        session,
        person=person,
        at=at,
        vehicle_id=old.vehicle_id,
        uploaded=content.fetch(session, old.sha256),
        file_name=old.file_name,
        kind=old.kind,
        picture=old.picture,
        note=old.note,
    )
    if known:
        raise Conflict("This file is attached again already.")
    journal.append(
        session,
        at=at,
        person=person,
        action="attach file",
        sentence=f"Attached file ({row.kind}) that was taken back is attached again.",
        vehicle_id=row.vehicle_id,
        subject=("attachment", row.id),
        facts={"sha256": row.sha256},
    )
    return row
