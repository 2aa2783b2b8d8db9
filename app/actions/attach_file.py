"""Attach a file to a car: the signed authorisation, a photo, a sheet."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.readers.picture import picture_of
from app.record import attachments, journal, vehicles
from app.record.tables import Attachment, Person

KINDS = {
    "authorisation": "Signed authorisation",
    "photo": "Photo",
    "log": "Log",
    "sheet": "Sheet",
    "other": "File",
}


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
    picture = picture_of(uploaded)
    row, known = attachments.keep(
        session,
        person=person,
        at=at,
        vehicle_id=vehicle.id,
        uploaded=uploaded,
        file_name=file_name,
        kind=kind,
        picture=None if picture is None else picture.media_type,
        note=note,
    )
    if known:
        return row, True
    journal.append(
        session,
        at=at,
        person=person,
        action="attach file",
        sentence=f"{KINDS[kind]} attached, {max(1, round(len(uploaded) / 1000)):,} kB.",
        vehicle_id=vehicle.id,
        subject=("attachment", row.id),
        facts={"sha256": row.sha256},
    )
    return row, False
