"""Layouts: named, versioned sets of map definitions, shared by every car with that software."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.layout_json import layout_from_json, layout_to_json
from app.errors import Conflict, NotFound
from app.record import content
from app.record.tables import Analysis, ControlUnit, Flash, Layout, Person, Revision, Stock


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


def require(session: Session, row: Layout) -> Definitions:
    """The map definitions of a layout version."""
    found = definitions(session, row)
    assert found is not None  # None is the answer to None alone
    return found


def newest_version(session: Session, layout_id: int) -> Layout:
    """The layout to change; Conflict when a newer version of it exists, which the change would undo."""
    row = layout(session, layout_id)
    newest = versions(session, row.name)[0]
    if newest.id != row.id:
        raise Conflict(
            f"Layout “{row.name}” has a newer version, v{newest.version}: look at that one and change it there.",
            field="layout",
        )
    return row


def add_version(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    definitions: Definitions,
    previous: Layout | None,
    software_number: str = "",
    note: str = "",
) -> Layout:
    """Write the next version of a layout that was changed here; `previous` None begins a new one.

    Conflict when a new layout takes a name that is on record, or when nothing differs from the previous version.
    """
    version = next_version(session, definitions.name)
    if previous is None and version > 1:
        raise Conflict(f"A layout “{definitions.name}” is on record already; choose that one.", field="layout")
    number = definitions.software_number or software_number.strip() or None
    digest = content.put(session, layout_to_json(definitions), at=at)
    if previous is not None and previous.sha256 == digest:
        raise Conflict(f"Version {previous.version} of “{previous.name}” says this already.")
    row = Layout(
        name=definitions.name,
        version=version,
        software_number=number if previous is None else previous.software_number,
        sha256=digest,
        original_sha256=None,
        file_name=None,
        source="changed here",
        map_count=len(definitions.maps),
        checksum_count=len(definitions.checksums),
        note=note,
        findings=[],
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def outdated(session: Session, row: Layout) -> Sequence[Revision]:
    """Revisions with an image whose comparison used an earlier version of this layout, oldest first.

    Also those that no layout was known for when they were compared, where their unit has this layout's software.
    """
    latest = select(func.max(Analysis.id)).group_by(Analysis.revision_id)
    query = (
        select(Revision, Layout.name, Layout.version, ControlUnit.software_number)
        .join(Analysis, Analysis.revision_id == Revision.id)
        .join(ControlUnit, ControlUnit.id == Revision.control_unit_id)
        .outerjoin(Layout, Layout.id == Analysis.layout_id)
        .where(Analysis.id.in_(latest), Revision.sha256.is_not(None))
        .order_by(Revision.id)
    )
    number = (row.software_number or "").casefold()
    return [
        revision
        for revision, name, version, software in session.execute(query)
        if (name == row.name and version < row.version) or (name is None and number and software.casefold() == number)
    ]


def proven_of(session: Session, row: Layout) -> Sequence[Stock | Revision]:
    """Of `images_of` those that a control unit surely accepted: stock, and revisions flashed to the end."""
    flashed = set(session.scalars(select(Flash.revision_id).where(Flash.outcome == "completed")))
    return [one for one in images_of(session, row) if isinstance(one, Stock) or one.id in flashed]


def images_of(session: Session, row: Layout) -> Sequence[Stock | Revision]:
    """Stock and revisions with an image of the units whose software this layout describes, oldest first."""
    names = select(Layout.id).where(Layout.name == row.name)
    units = set(session.scalars(select(Stock.control_unit_id).where(Stock.layout_id.in_(names))))
    if row.software_number:
        same = func.lower(ControlUnit.software_number) == func.lower(row.software_number)
        units |= set(session.scalars(select(ControlUnit.id).where(same)))
    stocks = session.scalars(select(Stock).where(Stock.control_unit_id.in_(units)).order_by(Stock.id)).all()
    rows = session.scalars(
        select(Revision).where(Revision.control_unit_id.in_(units), Revision.sha256.is_not(None)).order_by(Revision.id)
    ).all()
    return [*stocks, *rows]


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
