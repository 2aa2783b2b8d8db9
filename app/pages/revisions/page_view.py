"""What a revision's own page shows."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.errors import AppError
from app.pages.revisions.changes_view import Changes, changes_of
from app.pages.revisions.names import label_of, page_of_node
from app.pages.revisions.port_words import SharedWords, port_rows, shared_words
from app.pages.revisions.use_view import Use, use_of
from app.record import flashes, revisions, vehicles
from app.record.car_state import on_units, vehicle_label
from app.record.tables import ControlUnit, Person, Revision
from app.web.units_view import units_of


@dataclass(frozen=True, slots=True)
class Head:
    """What the revision is."""

    title: str
    vehicle: tuple[str, str]
    unit: tuple[str, str]
    kind: str
    on_car: bool
    at: datetime
    author: str
    parent: tuple[str, str]
    children: tuple[tuple[str, str], ...]
    purpose: str
    requirements: tuple[tuple[str, str | None], ...]
    file: str | None
    evidence: tuple[tuple[str, str], ...]
    one_part: bool
    ported_from: tuple[str, str] | None
    port_report: tuple[dict[str, Any], ...]
    port_sentence: str
    port_shared: tuple[SharedWords, ...]


@dataclass(frozen=True, slots=True)
class RevisionPage:
    """One revision; `values`, `errors`, `refused` and `details` show a refused form again."""

    id: int
    sentence: str
    may_change: bool
    head: Head
    changes: Changes
    use: Use
    values: dict[str, str]
    errors: dict[str, str]
    refused: str
    details: tuple[str, ...]


def revision_page(
    session: Session,
    revision_id: int,
    person: Person,
    *,
    error: AppError | None = None,
    values: dict[str, str] | None = None,
) -> RevisionPage:
    """Everything about one revision."""
    row = revisions.revision(session, revision_id)
    unit = vehicles.control_unit(session, row.control_unit_id)
    analysis = revisions.analysis(session, row.id)
    return RevisionPage(
        id=row.id,
        sentence="What it changes was not entered yet." if analysis is None else analysis.sentence,
        may_change=person.role in ("tuner", "manager"),
        head=_head(session, row, unit),
        changes=changes_of(session, row, analysis),
        use=use_of(session, row, units_of(person)),
        values=values or {},
        errors={} if error is None or error.field is None else {error.field: error.sentence},
        refused="" if error is None else error.sentence,
        details=() if error is None else tuple(error.details),
    )


def _head(session: Session, row: Revision, unit: ControlUnit) -> Head:
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    parent = revisions.parent_of(session, row)
    return Head(
        title=f"Revision {row.number} “{row.title}”",
        vehicle=(vehicle_label(vehicle), f"/vehicles/{vehicle.id}"),
        unit=(f"{unit.role.capitalize()} control unit", f"/control-units/{unit.id}"),
        kind=row.kind,
        on_car=on_units(session, [unit.id])[unit.id].revision_id == row.id,
        at=row.at,
        author=flashes.person_name(session, row.by_id),
        parent=("Stock, which is not on record", "") if parent is None else (label_of(parent), page_of_node(parent)),
        children=tuple((label_of(one), page_of_node(one)) for one in revisions.children(session, row)),
        purpose=row.purpose,
        requirements=(("Fuel", row.fuel_requirement or None), ("Hardware", row.hardware_requirement or None)),
        file=None if row.sha256 is None else f"{row.file_name} ({row.file_format}, {row.size:,} bytes)",
        evidence=() if row.sha256 is None else (("SHA-256", row.sha256), ("CRC-32", f"{row.crc32:08X}")),
        one_part=len(row.spans or ()) == 1,
        ported_from=_ported_from(session, row),
        port_report=port_rows(tuple((row.port_report or {}).get("maps", ()))),
        port_sentence=(row.port_report or {}).get("sentence", ""),
        port_shared=shared_words(row.port_report or {}),
    )


def _ported_from(session: Session, row: Revision) -> tuple[str, str] | None:
    if row.ported_from_id is None:
        return None
    source = revisions.revision(session, row.ported_from_id)
    car = vehicles.vehicle(session, vehicles.control_unit(session, source.control_unit_id).vehicle_id)
    return f"{label_of(source)} of {vehicle_label(car)}", page_of_node(source)
