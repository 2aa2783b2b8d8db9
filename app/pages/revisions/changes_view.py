"""What a revision changes, as the record keeps it: maps, block checksums, unexplained ranges, earlier comparisons."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.pages.revisions.map_rows import HandMap, hand_maps, map_rows
from app.pages.revisions.names import key_of, label_of
from app.record import analyses, flashes, layouts, revisions, same_image, vehicles
from app.record.tables import Analysis, Revision, Stock
from app.record.tables import Layout as LayoutRow

LOOKS = {"holds": "ok", "does not hold": "danger", "not known": "unknown"}


@dataclass(frozen=True, slots=True)
class AnalysisRow:
    """An earlier comparison."""

    at: datetime
    by: str
    layout: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Changes:
    """The comparison that applies. `compared_with` is set where that is not the parent, which has no image."""

    compared_with: str
    compare_parent: str | None
    compare_stock: str | None
    accounts: str | None
    checksums: tuple[dict[str, Any], ...]
    warnings: tuple[str, ...]
    maps: tuple[dict[str, Any], ...]
    hand_maps: tuple[HandMap, ...]
    unexplained: tuple[dict[str, Any], ...]
    layout: tuple[str, str] | None
    newer_layouts: tuple[tuple[str, str], ...]
    earlier: tuple[AnalysisRow, ...]


def changes_of(session: Session, row: Revision, analysis: Analysis | None) -> Changes:
    """What there is to show of a revision's changes."""
    by_hand = row.kind == "by hand"
    parent = revisions.parent_of(session, row)
    base = parent if by_hand else revisions.base_of(session, row)
    if analysis is None:  # nobody noted yet what changed
        base = None
    compare = None if base is None else f"/compare?from={key_of(base)}&to=r{row.id}"
    kept = None if by_hand else analysis
    return Changes(
        compared_with="" if base is None or base == parent else label_of(base),
        compare_parent=compare,
        compare_stock=None if base is None else _against_stock(row, base),
        accounts=None if kept is None else _accounts(kept),
        checksums=() if kept is None else tuple(_checksum(one) for one in kept.checksums),
        warnings=(*same_image.warnings(session, row), *(() if analysis is None else analysis.warnings)),
        maps=() if kept is None else map_rows(session, row.id, kept.id, compare),
        hand_maps=hand_maps(analyses.deltas_of(session, analysis.id)) if analysis is not None and by_hand else (),
        unexplained=() if kept is None else tuple(_range(one, compare) for one in kept.unexplained),
        layout=_layout(session, analysis),
        newer_layouts=() if kept is None else _newer_layouts(session, row, kept),
        earlier=_earlier(session, row.id),
    )


def _against_stock(row: Revision, base: Revision | Stock | None) -> str | None:
    if row.stock_id is None or isinstance(base, Stock):
        return None
    return f"/compare?from=stock-{row.stock_id}&to=r{row.id}"


def _accounts(analysis: Analysis) -> str:
    return (
        f"{analysis.changed_bytes:,}: {analysis.explained_bytes:,} in named maps, {analysis.checksum_bytes:,} in "
        f"block checksums, {analysis.unexplained_bytes:,} unexplained"
    )


def _checksum(one: dict[str, Any]) -> dict[str, Any]:
    cells = (
        {"text": one["name"], "note": one["reason"]},
        one["algorithm"],
        {"text": one["state"], "state": LOOKS[one["state"]]},
        one["stored"] or "–",
        one["computed"] or "–",
    )
    return {"cells": cells, "state": "danger" if one["state"] == "does not hold" else None}


def _range(one: dict[str, Any], compare: str | None) -> dict[str, Any]:
    place = f"0x{one['address']:X}–0x{one['address'] + one['length'] - 1:X}"
    href = f"{compare}#range-{one['address']:x}" if compare else None
    return {"cells": (place, f"{one['changed']} of {one['length']}", one["note"] or "–"), "href": href}


def _layout(session: Session, analysis: Analysis | None) -> tuple[str, str] | None:
    if analysis is None or analysis.layout_id is None:
        return None
    row = layouts.layout(session, analysis.layout_id)
    return f"{row.name} v{row.version}", f"/layouts/{row.id}"


def _newer_layouts(session: Session, row: Revision, analysis: Analysis) -> tuple[tuple[str, str], ...]:
    """Layouts to compare again with: later versions of the one used, others that suit the unit."""
    found: dict[int, LayoutRow] = {}
    if analysis.layout_id is not None:
        current = layouts.layout(session, analysis.layout_id)
        found |= {one.id: one for one in layouts.versions(session, current.name) if one.version > current.version}
    unit = vehicles.control_unit(session, row.control_unit_id)
    matching = layouts.matching(session, software_number=unit.software_number, sha256=row.sha256)
    found |= {one.id: one for one in matching if one.id != analysis.layout_id}
    return tuple((str(one.id), f"{one.name} v{one.version}") for one in found.values())


def _earlier(session: Session, revision_id: int) -> tuple[AnalysisRow, ...]:
    rows = revisions.analyses(session, revision_id)[1:]
    return tuple(
        AnalysisRow(
            one.at,
            flashes.person_name(session, one.by_id),
            "no layout" if (layout := _layout(session, one)) is None else layout[0],
            one.sentence,
        )
        for one in rows
    )
