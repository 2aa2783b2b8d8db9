"""Lists of a control unit as files: stock reads, revisions, what each revision gained, release packages."""

from fastapi import APIRouter
from fastapi.responses import Response

from app.calc.csv_text import Cell
from app.pages.lists.out import Ending, list_file
from app.record import packages, people, revisions, stocks, unit_gains, vehicles
from app.record.unit_gains import Step, glance_of
from app.web.csv_out import csv_download
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()


@router.get("/control-units/{unit_id:int}/stock-reads.{ending}")
def stock_read_list(unit_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Every stock read of a control unit, as its page has them."""
    unit = vehicles.control_unit(session, unit_id)
    readers = people.names(session)
    header = ("id", "read_at", "file_name", "format", "size_bytes", "crc32", "sha256", "generation", "read_by")
    rows = (
        (
            row.id,
            row.at,
            row.file_name,
            row.file_format,
            row.size,
            None if row.crc32 is None else f"{row.crc32:08X}",
            row.sha256,
            row.generation,
            readers.get(row.by_id),
        )
        for row in stocks.reads(session, unit.id)
    )
    return list_file(ending, f"stock-reads-unit-{unit.id}", header, rows)


@router.get("/control-units/{unit_id:int}/revisions.{ending}")
def revision_list(unit_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Revisions of a control unit, what changed and what was decided."""
    unit = vehicles.control_unit(session, unit_id)
    found = revisions.of_unit(session, unit.id)
    ids = [row.id for row in found]
    numbers = {row.id: row.number for row in found}
    analyses, decided = revisions.analyses_of(session, ids), revisions.decisions(session, ids)
    authors = people.names(session)
    header = (
        "id", "number", "parent_number", "title", "purpose", "kind", "fuel_requirement", "hardware_requirement",
        "sha256", "crc32", "size_bytes", "changed", "decision", "logged_at", "author",
    )  # fmt: skip
    rows = (
        (
            row.id,
            row.number,
            None if row.parent_id is None else numbers.get(row.parent_id),
            row.title,
            row.purpose,
            row.kind,
            row.fuel_requirement,
            row.hardware_requirement,
            row.sha256,
            None if row.crc32 is None else f"{row.crc32:08X}",
            row.size,
            analyses[row.id].sentence if row.id in analyses else None,
            decided[row.id].decision if row.id in decided else None,
            row.at,
            authors.get(row.by_id),
        )
        for row in found
    )
    return list_file(ending, f"revisions-unit-{unit.id}", header, rows)


@router.get("/control-units/{unit_id:int}/gains.csv")
def step_list(unit_id: int, session: Read, _person: Viewer) -> Response:
    """What each revision gained over its parent and over stock, in power where the curve after peaks."""
    unit = vehicles.control_unit(session, unit_id)
    header = (
        "revision_id", "revision_number", "title", "against", "from_session_id", "to_session_id", "engine_speed_rpm",
        "gain_kw", "half_width_kw", "over_stock_engine_speed_rpm", "over_stock_gain_kw", "over_stock_half_width_kw",
        "why_not_told",
    )  # fmt: skip
    steps, whole = unit_gains.steps(session, unit.id), unit_gains.against_stock(session, unit.id)
    rows = (
        [
            one.revision.id,
            one.revision.number,
            one.revision.title,
            "stock" if one.base is None else f"revision {one.base.number}",
            *((None, None) if one.pair is None else (one.pair[0].id, one.pair[1].id)),
            *_figures(one),
            *_figures(other),
            one.refusal,
        ]
        for one, other in zip(steps, whole, strict=True)
    )
    return csv_download(f"gains-unit-{unit.id}", header, rows)


def _figures(step: Step) -> tuple[Cell, Cell, Cell]:
    glance = glance_of(step.found)
    return (None, None, None) if glance is None else (glance.speed_rpm, glance.gain_kw, glance.half_kw)


@router.get("/revisions/{revision_id:int}/packages.{ending}")
def package_list(revision_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Release packages of a revision and how often something came back for each."""
    revision = revisions.revision(session, revision_id)
    issuers = people.names(session)
    header = ("id", "file_name", "image_format", "issued_at", "issued_by", "sha256", "coding_snapshot_id", "returns",
              "note")  # fmt: skip
    rows = (
        (
            row.id,
            row.file_name,
            row.format,
            row.at,
            issuers.get(row.by_id),
            row.sha256,
            row.coding_snapshot_id,
            len(packages.returns(session, row.id)),
            row.note,
        )
        for row in packages.of_revision(session, revision.id)
    )
    return list_file(ending, f"packages-revision-{revision.id}", header, rows)
