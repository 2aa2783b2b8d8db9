"""Log a revision of a control unit's calibration from its image."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.calibration.delta import compare
from app.errors import BadInput, Conflict
from app.readers.image import ReadImage
from app.record import analyses, images, journal, layouts, revisions, stocks, vehicles
from app.record.tables import Person, Revision, Stock


@dataclass(frozen=True, slots=True)
class NewRevision:
    """What the tuner says of it. parent_id None: made from stock. layout_id None: the one suggested for the unit."""

    title: str
    purpose: str
    parent_id: int | None = None
    layout_id: int | None = None
    fuel_requirement: str = ""
    hardware_requirement: str = ""


def log_revision(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    control_unit_id: int,
    revision: NewRevision,
    uploaded: bytes,
    file_name: str,
    read: ReadImage,
) -> Revision:
    """Keep the image against its parent and what changed, in physical units where a layout knows the maps.

    Raises Conflict when no stock is confirmed or the image is byte for byte that of its parent, BadInput when the
    image covers other addresses than stock (a file of another control unit).
    """
    unit = vehicles.control_unit(session, control_unit_id)
    for field, value in (("title", revision.title), ("purpose", revision.purpose)):
        if not value.strip():
            raise BadInput(f"Write the {field}: years later it is what people read first.", field=field)
    stock = stocks.current(session, unit.id)
    if stock is None:
        raise Conflict("No stock is confirmed for this control unit: read it twice before you log a revision.")
    parent: Revision | Stock = stock
    if revision.parent_id is not None:
        parent = revisions.revision(session, revision.parent_id)
        revisions.require_same_unit(parent, unit.id)
    base = stock if parent.sha256 is None else parent
    before = images.load(session, base)
    if read.image.spans != before.spans:
        raise BadInput(
            f"This image covers other addresses ({read.image.size:,} bytes) than its parent ({before.size:,} bytes): "
            "is it the file of another control unit?",
            field="file",
        )
    if read.image.digest == before.digest:
        raise Conflict("This image is byte for byte that of its parent: nothing was changed.", field="file")
    layout_id = revision.layout_id or _suggested_layout_id(session, unit.software_number, stock)
    layout = None if layout_id is None else layouts.layout(session, layout_id)
    comparison = compare(before, read.image, layouts.definitions(session, layout))
    fields = images.store(
        session,
        read.image,
        uploaded=uploaded,
        file_format=read.format,
        file_name=file_name,
        at=at,
        base=base.sha256,
    )
    row = Revision(
        control_unit_id=unit.id,
        number=revisions.next_number(session, unit.id),
        parent_id=revision.parent_id,
        stock_id=stock.id if revision.parent_id is None else getattr(parent, "stock_id", None),
        title=revision.title.strip(),
        purpose=revision.purpose.strip(),
        kind="image",
        fuel_requirement=revision.fuel_requirement.strip(),
        hardware_requirement=revision.hardware_requirement.strip(),
        at=at,
        by_id=person.id,
        **fields,
    )
    session.add(row)
    session.flush()
    analysis = analyses.store(
        session, comparison, revision_id=row.id, layout_id=layout_id, at=at, by_id=person.id
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="log revision",
        sentence=f"Revision {row.number} “{row.title}” of {unit.role} logged: {analysis.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("revision", row.id),
        facts={"sha256": row.sha256, "parent_id": row.parent_id, "layout_id": layout_id, "purpose": row.purpose},
    )
    return row


def _suggested_layout_id(session: Session, software_number: str, stock: Stock) -> int | None:
    """The layout in use for this stock, else one for the software number."""
    found = layouts.matching(session, software_number=software_number, sha256=stock.sha256)
    return found[0].id if found else None
