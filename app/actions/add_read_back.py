"""Compare what was read back from a control unit with what was written."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.restore.verdicts import read_back_verdict
from app.errors import Conflict
from app.readers.image import ReadImage
from app.record import flashes, images, journal, layouts, revisions, stocks, vehicles
from app.record.tables import Flash, Person, ReadBack


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
    """Keep the read-back with its comparison, byte for byte; ranges that the unit rewrites itself are set aside."""
    flash = flashes.flash(session, flash_id)
    if flash.outcome != "completed":
        raise Conflict("This write did not complete; log the next one and read that back.")
    unit = vehicles.control_unit(session, flash.control_unit_id)
    node = (
        revisions.revision(session, flash.revision_id)
        if flash.revision_id is not None
        else stocks.stock(session, flash.stock_id or 0)
    )
    volatile = _volatile(session, flash)
    verdict = read_back_verdict(images.load(session, node), read.image, volatile)
    fields = images.store(
        session,
        read.image,
        uploaded=uploaded,
        file_format=read.format,
        file_name=file_name,
        at=at,
        base=node.sha256,
    )
    row = ReadBack(
        flash_id=flash.id,
        equal=verdict.outcome == "verified",
        differences=list(verdict.details),
        sentence=verdict.sentence,
        at=at,
        by_id=person.id,
        **fields,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="read back",
        sentence=f"Read-back of {unit.role}: {verdict.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("flash", flash.id),
        facts={"sha256": row.sha256},
    )
    return row


def _volatile(session: Session, flash: Flash) -> tuple[tuple[int, int, str], ...]:
    layout_id = None
    if flash.stock_id is not None:
        layout_id = stocks.stock(session, flash.stock_id).layout_id
    elif flash.revision_id is not None and (found := revisions.analysis(session, flash.revision_id)) is not None:
        layout_id = found.layout_id
    if layout_id is None:
        return ()
    definitions = layouts.definitions(session, layouts.layout(session, layout_id))
    assert definitions is not None
    return tuple((item.start, item.end, item.reason) for item in definitions.volatile_in_image)
