"""What the pages of layouts show."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.calibration.checksum_algorithms import ALGORITHMS
from app.calc.calibration.layout import CATEGORIES, Layout, MapDefinition
from app.calc.number_text import unit_of
from app.errors import AppError
from app.pages.diff.address import quoted
from app.record import layouts
from app.record.tables import Layout as LayoutRecord
from app.record.tables import Person

PAGE = 100


@dataclass(frozen=True, slots=True)
class LayoutRow:
    href: str
    name: str
    version: int
    software: str
    maps: int
    checksums: int
    at: datetime
    source: str


@dataclass(frozen=True, slots=True)
class LayoutsPage:
    rows: tuple[LayoutRow, ...]
    name: str
    software_number: str
    sentence: str
    ask_byte_order: bool


@dataclass(frozen=True, slots=True)
class MapRow:
    name: str
    category: str
    category_href: str | None
    kind: str
    shape: str
    address: int
    unit: str
    description: str


@dataclass(frozen=True, slots=True)
class Growth:
    """What can be added to the layout; None on the page for an earlier version or a person who may not."""

    algorithms: tuple[tuple[str, str], ...]
    images: int
    outdated: int
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class Filter:
    """Which maps are listed, and the map whose category is changed."""

    q: str = ""
    category: str = ""
    start: int = 0
    map: str = ""


@dataclass(frozen=True, slots=True)
class LayoutPage:
    row: LayoutRow
    note: str
    findings: tuple[str, ...]
    versions: tuple[tuple[str, str, bool], ...]
    query: str
    category: str
    categories: tuple[tuple[str, str], ...]
    total: int
    maps: tuple[MapRow, ...]
    earlier: str | None
    later: str | None
    checksums: tuple[tuple[str, str, str, str], ...]
    volatile: tuple[tuple[str, str], ...]
    newer: tuple[str, str] | None
    growth: Growth | None
    chosen_map: tuple[str, str]


def layout_row(row: LayoutRecord) -> LayoutRow:
    return LayoutRow(
        f"/layouts/{row.id}",
        row.name,
        row.version,
        row.software_number or "not stated",
        row.map_count,
        row.checksum_count,
        row.at,
        row.source,
    )


def layout_page(
    session: Session,
    layout_id: int,
    person: Person,
    wanted: Filter,
    *,
    values: dict[str, str] | None = None,
    error: AppError | None = None,
) -> LayoutPage:
    """One version of a layout; `values` and `error` show a refused form again."""
    row = layouts.layout(session, layout_id)
    known = layouts.require(session, row)
    versions = layouts.versions(session, row.name)
    newest = versions[0].id == row.id
    growth = None
    if newest and person.role in ("tuner", "manager"):
        growth = _growth(session, row, values or {}, error)
    found = [one for one in known.maps if _wanted(one, wanted.q.casefold().split(), wanted.category)]
    first = max(0, min(wanted.start, len(found)))
    link = f"/layouts/{layout_id}?q={quoted(wanted.q)}&category={quoted(wanted.category)}&start="
    prefix = None if growth is None else f"{link}{first}&map="
    return LayoutPage(
        row=layout_row(row),
        note=row.note,
        findings=tuple(str(one) for one in row.findings),
        versions=tuple((f"v{one.version}", f"/layouts/{one.id}", one.id == row.id) for one in versions),
        query=wanted.q,
        category=wanted.category,
        categories=tuple((one, one.capitalize()) for one in CATEGORIES),
        total=len(found),
        maps=tuple(_map_row(one, known.address_base, prefix) for one in found[first : first + PAGE]),
        earlier=f"{link}{max(0, first - PAGE)}" if first else None,
        later=f"{link}{first + PAGE}" if first + PAGE < len(found) else None,
        checksums=_checksums(known),
        volatile=tuple((f"0x{one.start:X}–0x{one.end - 1:X}", one.reason) for one in known.volatile_in_image),
        newer=None if newest else (f"v{versions[0].version}", f"/layouts/{versions[0].id}"),
        growth=growth,
        chosen_map=(wanted.map, known.map(wanted.map).category if wanted.map in known.positions else "other"),
    )


def _growth(session: Session, row: LayoutRecord, values: dict[str, str], error: AppError | None) -> Growth:
    return Growth(
        algorithms=tuple((name, name) for name in ALGORITHMS),
        images=len(layouts.images_of(session, row)),
        outdated=len(layouts.outdated(session, row)),
        values=values,
        errors={} if error is None or error.field is None else {error.field: error.sentence},
        sentence="" if error is None else str(error),
    )


def _checksums(known: Layout) -> tuple[tuple[str, str, str, str], ...]:
    return tuple(
        (
            one.name,
            one.algorithm,
            ", ".join(f"0x{start:X}–0x{end - 1:X}" for start, end in one.ranges),
            f"0x{one.stored_at:X}, {one.byte_order}-endian",
        )
        for one in known.checksums_in_image
    )


def _wanted(one: MapDefinition, words: list[str], category: str) -> bool:
    text = f"{one.name} {one.description}".casefold()
    return (not category or one.category == category) and all(word in text for word in words)


def _map_row(one: MapDefinition, base: int, prefix: str | None) -> MapRow:
    shape = " × ".join(str(n) for n in one.shape) or "1"
    href = None if prefix is None else f"{prefix}{quoted(one.name)}#category-form"
    unit = unit_of(one.scaling.unit) or "no unit"
    return MapRow(one.name, one.category, href, one.kind, shape, one.address + base, unit, one.description)
