"""Compare what was read back from a control unit with what was written."""

import datetime as dt

from sqlalchemy.orm import Session

from app.readers.image import ReadImage
from app.record import flashes, journal, read_backs, vehicles
from app.record.tables import Person, ReadBack


def add_read_back(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    flash_id: int,
    uploaded: bytes,
    file_name: str,
    read: ReadImage,
) -> ReadBack:
    """Keep the read-back with its comparison, byte for byte."""
    flash = flashes.flash(session, flash_id)
    unit = vehicles.control_unit(session, flash.control_unit_id)
    verdict = read_backs.compare(session, flash, read.image)
    row = read_backs.add(
        session,
        person=person,
        at=at,
        flash=flash,
        read=read.image,
        verdict=verdict,
        uploaded=uploaded,
        file_name=file_name,
        file_format=read.format,
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="read back",
        sentence=f"Read-back of {unit.role}: {verdict.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("flash", flash.id),
        facts={"equal": row.equal, "sha256": row.sha256},
    )
    return row
