"""Layouts: named, versioned sets of map definitions, shared by every car with that software."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.layout_json import layout_from_json
from app.errors import NotFound
from app.record import content
from app.record.tables import Layout, Stock


def layout(session: Session, layout_id: int) -> Layout:
    found = session.get(Layout, layout_id)
    if found is None:
        raise NotFound(f"There is no layout {layout_id}.")
    return found


def newest(session: Session) -> Sequence[Layout]:
    """The newest version of each layout, by name."""
    rows = session.scalars(select(Layout).order_by(Layout.name, Layout.version)).all()
    return list({row.name: row for row in rows}.values())


def versions(session: Session, name: str) -> Sequence[Layout]:
    """Newest first."""
    return session.scalars(select(Layout).where(Layout.name == name).order_by(Layout.version.desc())).all()


def next_version(session: Session, name: str) -> int:
    return (session.scalar(select(func.max(Layout.version)).where(Layout.name == name)) or 0) + 1


def definitions(session: Session, row: Layout | None) -> Definitions | None:
    """The map definitions of a layout version; None for none. Parsed once per content and process."""
    if row is None:
        return None
    known = _cache.get(row.sha256)
    if known is None:
        known = layout_from_json(content.fetch(session, row.sha256))
        _cache[row.sha256] = known
        while len(_cache) > _CACHED:
            _cache.pop(next(iter(_cache)))
    return known


_CACHED = 8
_cache: dict[str, Definitions] = {}


def matching(session: Session, *, software_number: str, sha256: str | None = None) -> Sequence[Layout]:
    """Layouts that suit a unit: used by a car with the same stock image first, then by software number."""
    found: dict[str, Layout] = {}
    if sha256 is not None:
        ids = select(Stock.layout_id).where(Stock.sha256 == sha256, Stock.layout_id.is_not(None))
        for row in session.scalars(select(Layout).where(Layout.id.in_(ids))):
            found[row.name] = versions(session, row.name)[0]
    if software_number:
        for row in newest(session):
            if row.software_number and row.software_number.casefold() == software_number.casefold():
                found.setdefault(row.name, row)
    return list(found.values())
