"""Taking a file of a car on record."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import content, vehicles
from app.record.tables import Attachment, Person


def keep(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    uploaded: bytes,
    file_name: str,
    kind: str,
    picture: str | None = None,
    note: str = "",
) -> tuple[Attachment, bool]:
    """picture: media type, when the bytes are one that a browser may show.

    Returns the row, and whether this car had the same file already (then nothing is added). BadInput for an empty file.
    """
    if not uploaded:
        raise BadInput("The file is empty; choose it again.", field="file")
    digest = content.put(session, uploaded, at=at)
    for known in vehicles.attachments(session, vehicle_id):
        if known.sha256 == digest:
            return known, True
    row = Attachment(
        vehicle_id=vehicle_id,
        sha256=digest,
        file_name=file_name,
        kind=kind,
        note=note.strip(),
        size=len(uploaded),
        picture=picture,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row, False
