"""Revisions whose image the control unit had before: nothing new, and perhaps the wrong file was chosen."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.record.tables import Revision, Stock

_NAMED = 3


def warnings(session: Session, row: Revision) -> tuple[str, ...]:
    """One sentence when stock or an earlier revision of the unit has the same bytes at the same addresses."""
    if row.sha256 is None:
        return ()
    names = [_stock_name(one) for one in _earlier_stocks(session, row)]
    names += [f"revision {one.number} “{one.title}”" for one in _earlier_revisions(session, row)]
    if not names:
        return ()
    told = names if len(names) <= _NAMED else [*names[: _NAMED - 1], f"{len(names) - _NAMED + 1} more"]
    listed = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
    return (f"This image is byte for byte that of {listed}: check that it is the file you meant.",)


def _earlier_stocks(session: Session, row: Revision) -> Sequence[Stock]:
    query = select(Stock).where(
        Stock.sha256 == row.sha256,
        Stock.control_unit_id == row.control_unit_id,
        Stock.entry_seq < row.entry_seq,
    )
    return [one for one in session.scalars(query.order_by(Stock.id)) if one.spans == row.spans]


def _earlier_revisions(session: Session, row: Revision) -> Sequence[Revision]:
    query = select(Revision).where(
        Revision.sha256 == row.sha256,
        Revision.control_unit_id == row.control_unit_id,
        Revision.entry_seq < row.entry_seq,
    )
    return [one for one in session.scalars(query.order_by(Revision.number)) if one.spans == row.spans]


def _stock_name(row: Stock) -> str:
    return "stock" if row.generation == 1 else f"stock, generation {row.generation}"
