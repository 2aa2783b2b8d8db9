"""A revision as the API gives it."""

from typing import Any

from sqlalchemy.orm import Session

from app.api.model import ApiOut, Time
from app.record import flashes, revisions, same_image
from app.record.tables import Analysis, MapDelta, Revision

# A figure that JSON has no word for leaves as "Infinity" or "-Infinity"; None where there is none.
Figure = float | str | None


class PlaceOut(ApiOut):
    name: str
    unit: str
    value: Figure
    decimals: int


class LargestOut(ApiOut):
    change: Figure
    before: Figure
    after: Figure
    percent: Figure
    index: list[int]
    at: list[PlaceOut]


class DeltaOut(ApiOut):
    """One changed map: figures in its `unit`, over its cells or, where breakpoints moved, over the points of both."""

    name: str
    kind: str
    category: str
    unit: str
    cells: int
    changed: int
    minimum: Figure
    maximum: Figure
    mean: Figure
    mean_of_changed: Figure
    percent_minimum: Figure
    percent_maximum: Figure
    percent_mean: Figure
    largest: LargestOut | None
    at_raw_minimum: int
    at_raw_maximum: int
    axes_changed: list[bool]
    uncovered: int
    compared: str
    decimals: int


class UnexplainedRangeOut(ApiOut):
    """Changed bytes that nothing explains; `before` and `after` are hex, of long ranges the first bytes."""

    address: int
    length: int
    changed: int
    before: str | None
    after: str | None
    note: str


class BlockChecksumResultOut(ApiOut):
    """state: holds, does not hold, or not known; values are hex."""

    name: str
    algorithm: str
    state: str
    stored: str | None
    computed: str | None
    reason: str


class RevisionOut(ApiOut):
    id: int
    control_unit_id: int
    number: int
    parent_id: int | None
    stock_id: int | None
    title: str
    purpose: str
    kind: str
    fuel_requirement: str
    hardware_requirement: str
    author: str
    at: Time
    sha256: str | None
    crc32: str | None
    size: int | None
    format: str | None
    decision: str | None
    computed_not_validated: bool
    ported_from_id: int | None
    port_report: dict[str, Any] | None
    layout_id: int | None
    sentence: str
    changed_bytes: int
    explained_bytes: int
    checksum_bytes: int
    unexplained_bytes: int
    deltas: list[DeltaOut]
    unexplained_ranges: list[UnexplainedRangeOut]
    block_checksums: list[BlockChecksumResultOut]
    warnings: list[str]


def revision_out(session: Session, row: Revision) -> RevisionOut:
    """The revision with what it changes, as the record keeps it."""
    analysis = revisions.analysis(session, row.id)
    decision = revisions.decisions(session, [row.id]).get(row.id)
    deltas = [] if analysis is None else [_delta(one) for one in revisions.map_deltas(session, analysis.id)]
    return RevisionOut(
        id=row.id,
        control_unit_id=row.control_unit_id,
        number=row.number,
        parent_id=row.parent_id,
        stock_id=row.stock_id,
        title=row.title,
        purpose=row.purpose,
        kind=row.kind,
        fuel_requirement=row.fuel_requirement,
        hardware_requirement=row.hardware_requirement,
        author=flashes.person_name(session, row.by_id),
        at=row.at,
        sha256=row.sha256,
        crc32=None if row.crc32 is None else f"{row.crc32:08X}",
        size=row.size,
        format=row.file_format,
        decision=None if decision is None else decision.decision,
        computed_not_validated=row.kind == "ported",
        ported_from_id=row.ported_from_id,
        port_report=row.port_report,
        deltas=deltas,
        warnings=_warnings(session, row, analysis),
        **_analysis(analysis),
    )


def _analysis(found: Analysis | None) -> dict[str, Any]:
    counts = ("changed_bytes", "explained_bytes", "checksum_bytes", "unexplained_bytes")
    if found is None:
        none: dict[str, Any] = dict.fromkeys(counts, 0)
        lists: dict[str, Any] = {"unexplained_ranges": [], "block_checksums": []}
        return none | lists | {"layout_id": None, "sentence": "What it changes was not entered yet."}
    return {name: getattr(found, name) for name in counts} | {
        "layout_id": found.layout_id,
        "sentence": found.sentence,
        "unexplained_ranges": [UnexplainedRangeOut(**one) for one in found.unexplained],
        "block_checksums": [BlockChecksumResultOut(**one) for one in found.checksums],
    }


def _warnings(session: Session, row: Revision, found: Analysis | None) -> list[str]:
    return [*same_image.warnings(session, row), *([] if found is None else found.warnings)]


def _delta(row: MapDelta) -> DeltaOut:
    return DeltaOut(name=row.name, kind=row.kind, category=row.category, unit=row.unit, **row.summary)
