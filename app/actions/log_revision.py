"""Log a revision of a control unit's calibration from its image."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.delta import compare
from app.calc.calibration.image import Image
from app.errors import BadInput, Conflict
from app.readers.image import ReadImage
from app.record import analyses, images, journal, layouts, revisions, stocks, vehicles, warning_rules
from app.record.revisions import NewRevision
from app.record.tables import Person, Revision, Stock

__all__ = ["NewRevision", "log_revision"]


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
    image covers other addresses than stock (a file of another control unit). An image that is equal to any other is
    kept: `same_image.warnings` says so.
    """
    unit = vehicles.control_unit(session, control_unit_id)
    revision.check()
    base = _base(session, unit.id, revision.parent_id)
    before = images.load(session, base)
    parent_id = None if isinstance(base, Stock) else base.id
    _refuse_wrong_file(before, read.image, is_parent=parent_id == revision.parent_id)
    layout_id = revision.layout_id or _suggested_layout_id(session, unit.software_number, base)
    layout = None if layout_id is None else layouts.layout(session, layout_id)
    definitions = layouts.definitions(session, layout)
    comparison = warning_rules.warned(
        session,
        compare(before, read.image, definitions),
        definitions,
        lambda: revisions.stock_image(session, base),
    )
    fields = images.store(
        session,
        read.image,
        uploaded=uploaded,
        file_format=read.format,
        file_name=file_name,
        at=at,
        base=base,
        base_image=before,
    )
    row = revisions.add(
        session,
        person=person,
        at=at,
        unit_id=unit.id,
        new=revision,
        kind="image",
        stock_id=base.id if isinstance(base, Stock) else base.stock_id,
        image=fields,
    )
    analysis = analyses.store(session, comparison, revision_id=row.id, layout_id=layout_id, at=at, by_id=person.id)
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


def _base(session: Session, unit_id: int, parent_id: int | None) -> Revision | Stock:
    """What the image is compared with: the parent, or where that has no image the nearest ancestor that has one."""
    stock = stocks.current(session, unit_id)
    if stock is None:
        raise Conflict("No stock is confirmed for this control unit: read it twice before you log a revision.")
    if parent_id is None:
        return stock
    parent = revisions.revision(session, parent_id)
    revisions.require_same_unit(parent, unit_id, field="parent_id")
    return parent if parent.sha256 is not None else revisions.base_of(session, parent) or stock


def _refuse_wrong_file(before: Image, image: Image, *, is_parent: bool) -> None:
    if image.spans != before.spans:
        raise BadInput(
            f"This image covers other addresses ({image.size:,} bytes) than its parent ({before.size:,} bytes): "
            "is it the file of another control unit?",
            field="file",
        )
    if is_parent and image.digest == before.digest:
        raise Conflict("This image is byte for byte that of its parent: nothing was changed.", field="file")


def _suggested_layout_id(session: Session, software_number: str, base: Revision | Stock) -> int | None:
    """The layout that cars with this stock use, else one for the software number."""
    digest = base.sha256 if isinstance(base, Stock) else _stock_digest(session, base)
    found = layouts.matching(session, software_number=software_number, sha256=digest)
    return found[0].id if found else None


def _stock_digest(session: Session, row: Revision) -> str | None:
    stock = revisions.stock_of(session, row)
    return None if stock is None else stock.sha256
