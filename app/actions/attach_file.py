"""Attach a file to a car: the signed authorisation, a photo, a sheet."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import content, journal, vehicles
from app.record.tables import Attachment, Person

KINDS = ("authorisation", "photo", "log", "sheet", "other")


def attach_file(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    uploaded: bytes,
    file_name: str,
    kind: str,
    note: str = "",
) -> tuple[Attachment, bool]:
    """Keep the file; returns the row and whether this car had the same file already (then nothing is added)."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    if kind not in KINDS:
        raise BadInput(f"Choose what the file is: {', '.join(KINDS)}.", field="kind")
    if not uploaded:
        raise BadInput("The file is empty; choose it again.", field="file")
    digest = content.put(session, uploaded, at=at)
    for known in vehicles.attachments(session, vehicle.id):
        if known.sha256 == digest:
            return known, True
    row = Attachment(
        vehicle_id=vehicle.id, sha256=digest, file_name=file_name, kind=kind, note=note.strip(), at=at, by_id=person.id
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="attach file",
        sentence=f"File attached ({kind}): SHA-256 {digest[:16]}….",
        vehicle_id=vehicle.id,
        subject=("attachment", row.id),
    )
    return row, False
