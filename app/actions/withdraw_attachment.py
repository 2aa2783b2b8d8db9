"""Take back a file that was attached by mistake."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal, vehicles
from app.record.tables import AttachmentWithdrawal, Person

SHORTEST_REASON = 5


def withdraw_attachment(
    session: Session, *, person: Person, at: dt.datetime, attachment_id: int, reason: str
) -> AttachmentWithdrawal:
    """The file no longer counts for its car, and the same file can be attached again; its bytes stay on record."""
    row = vehicles.attachment(session, attachment_id)
    if vehicles.is_withdrawn(session, row.id):
        raise Conflict("This file was taken back already.")
    reason = " ".join(reason.split())
    if len(reason) < SHORTEST_REASON:
        raise BadInput("Write why the file does not belong here.", field="reason")
    withdrawal = AttachmentWithdrawal(attachment_id=row.id, reason=reason, at=at, by_id=person.id)
    session.add(withdrawal)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="withdraw attachment",
        sentence=f"Attached file ({row.kind}) taken back: {reason}",
        vehicle_id=row.vehicle_id,
        subject=("attachment", row.id),
        facts={"sha256": row.sha256},
    )
    return withdrawal
