"""Read-backs: what a control unit held after a write, compared with what was written."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.calc.restore.verdicts import Verdict, read_back_verdict
from app.errors import Conflict, NotFound
from app.record import images, layouts, revisions, stocks
from app.record.tables import Flash, Person, ReadBack, Revision, Stock

Volatile = tuple[tuple[int, int, str], ...]


def read_back(session: Session, read_back_id: int) -> ReadBack:
    found = session.get(ReadBack, read_back_id)
    if found is None:
        raise NotFound(f"There is no read-back {read_back_id}.")
    return found


def latest(session: Session, flash_id: int) -> ReadBack | None:
    """The read-back that applies to a write."""
    return session.scalar(select(ReadBack).where(ReadBack.flash_id == flash_id).order_by(ReadBack.id.desc()).limit(1))


def compare(session: Session, flash: Flash, read: Image) -> Verdict:
    """Byte for byte with what was written; ranges that the unit rewrites itself are named and set aside.

    Raises Conflict for a write that did not complete.
    """
    if flash.outcome != "completed":
        raise Conflict("This write did not complete; log the next one and read that back.")
    node = _node(session, flash)
    written = "stock" if isinstance(node, Stock) else f"revision {node.number}"
    return read_back_verdict(images.load(session, node), read, _volatile(session, flash), written=written)


def compare_with_stock(session: Session, stock: Stock, read: Image) -> Verdict:
    """The same for a unit whose write is not on record."""
    return read_back_verdict(images.load(session, stock), read, _volatile_of(session, stock.layout_id))


def add(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    flash: Flash,
    read: Image,
    verdict: Verdict,
    uploaded: bytes,
    file_name: str,
    file_format: str,
) -> ReadBack:
    """The row of a read-back that `compare` has judged."""
    fields = images.store(
        session,
        read,
        uploaded=uploaded,
        file_format=file_format,
        file_name=file_name,
        at=at,
        base=_node(session, flash),
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
    return row


def _node(session: Session, flash: Flash) -> Revision | Stock:
    if flash.revision_id is not None:
        return revisions.revision(session, flash.revision_id)
    return stocks.stock(session, flash.stock_id or 0)


def _volatile(session: Session, flash: Flash) -> Volatile:
    if flash.stock_id is not None:
        return _volatile_of(session, stocks.stock(session, flash.stock_id).layout_id)
    found = revisions.analysis(session, flash.revision_id or 0)
    return _volatile_of(session, None if found is None else found.layout_id)


def _volatile_of(session: Session, layout_id: int | None) -> Volatile:
    if layout_id is None:
        return ()
    definitions = layouts.definitions(session, layouts.layout(session, layout_id))
    assert definitions is not None
    return tuple((item.start, item.end, item.reason) for item in definitions.volatile_in_image)
