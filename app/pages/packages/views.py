"""What the pages of release packages show."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.actions.issue_release_package import FORMATS
from app.calc.number_text import counted
from app.calc.release_package.manifest import cautions
from app.errors import AppError, Conflict
from app.record import flashes, packages, people, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import PackageReturn, ReleasePackage

_SUGGESTED = {"binary": "bin", "Intel HEX": "hex", "S-record": "srec"}
OUTCOMES = (("completed", "Completed"), ("failed", "Failed"), ("aborted", "Aborted"))


@dataclass(frozen=True, slots=True)
class PackageRow:
    href: str
    name: str
    format: str
    at: datetime
    by: str
    digest: str
    returned: int
    note: str


@dataclass(frozen=True, slots=True)
class PackagesPage:
    revision_id: int
    revision: str
    vehicle_id: int
    vehicle: str
    refusal: str
    formats: tuple[tuple[str, str], ...]
    snapshots: tuple[tuple[str, str, datetime, int], ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    cautions: tuple[str, ...]
    rows: tuple[PackageRow, ...]


@dataclass(frozen=True, slots=True)
class ReturnRow:
    at: datetime
    by: str
    sentence: str
    links: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PackagePage:
    id: int
    revision_id: int
    revision: str
    vehicle_id: int
    vehicle: str
    head: PackageRow
    image_digest: str
    coding: tuple[str, str] | None
    withdrawn: str
    flash_href: str | None
    outcomes: tuple[tuple[str, str], ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    details: tuple[str, ...]
    returns: tuple[ReturnRow, ...]


def packages_page(session: Session, revision_id: int, values: dict[str, str], error: AppError | None) -> PackagesPage:
    """The packages of a revision and the form for another one, or why there can be none."""
    row = revisions.revision(session, revision_id)
    unit = vehicles.control_unit(session, row.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    snapshots = flashes.coding_snapshots(session, vehicle.id)
    suggested = packages.suggested_coding(session, vehicle.id)
    refusal = ""
    said: tuple[str, ...] = ()
    try:
        said = cautions(packages.facts(session, row, packages.release_of(session, row), None))
    except Conflict as conflict:
        refusal = conflict.sentence
    defaults = {
        "format": _SUGGESTED.get(row.file_format or "", "bin"),
        "coding_snapshot_id": "" if suggested is None else str(suggested.id),
        "note": "",
    }
    return PackagesPage(
        revision_id=row.id,
        revision=f"Revision {row.number} “{row.title}”",
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        refusal=refusal,
        formats=tuple((key, text.capitalize() if key == "bin" else text) for key, text in FORMATS.items()),
        snapshots=tuple((str(one.id), one.occasion, one.at, one.keys) for one in snapshots),
        values=defaults | values,
        errors={} if error is None else {error.field or "format": error.sentence},
        sentence="" if error is None else error.sentence,
        cautions=said,
        rows=tuple(_row(session, one) for one in packages.of_revision(session, row.id)),
    )


def _row(session: Session, package: ReleasePackage) -> PackageRow:
    return PackageRow(
        f"/release-packages/{package.id}",
        package.file_name,
        FORMATS[package.format],  # type: ignore[index]  # a CHECK constraint holds the column to these
        package.at,
        people.names(session).get(package.by_id, "the program"),
        package.sha256,
        len(packages.returns(session, package.id)),
        package.note,
    )


def package_page(session: Session, package_id: int, values: dict[str, str], error: AppError | None) -> PackagePage:
    """One package: what was handed out, what came back, and the form for more."""
    package = packages.package(session, package_id)
    row = revisions.revision(session, package.revision_id)
    vehicle = vehicles.vehicle(session, vehicles.control_unit(session, row.control_unit_id).vehicle_id)
    came = packages.returns(session, package.id)
    decision = revisions.decisions(session, [row.id])[row.id]
    return PackagePage(
        id=package.id,
        revision_id=row.id,
        revision=f"Revision {row.number} “{row.title}”",
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        head=_row(session, package),
        image_digest=row.sha256 or "",
        coding=_coding(session, package),
        withdrawn=f"Since then the revision is {decision.decision}: {decision.reason or 'no reason noted'}."
        if decision.decision != "released"
        else "",
        flash_href=f"/flashes/{came[0].flash_id}" if came else None,
        outcomes=OUTCOMES,
        values=values,
        errors={} if error is None else {error.field or "read_back": error.sentence},
        sentence="" if error is None else str(error),
        details=() if error is None else error.details,
        returns=tuple(_return(session, one) for one in came),
    )


def _coding(session: Session, package: ReleasePackage) -> tuple[str, str] | None:
    if package.coding_snapshot_id is None:
        return None
    row = flashes.coding_snapshot(session, package.coding_snapshot_id)
    return (
        f"{row.occasion}, {counted(row.keys, 'value')} of {counted(row.modules, 'module')}",
        f"/coding-snapshots/{row.id}",
    )


def _return(session: Session, row: PackageReturn) -> ReturnRow:
    links = [("Flash", f"/flashes/{row.flash_id}")]
    if row.fault_scan_id is not None:
        links.append(("Faults", f"/fault-scans/{row.fault_scan_id}"))
    links += [(f"Log {n}", f"/attachments/{one}") for n, one in enumerate(row.attachment_ids, 1)]
    return ReturnRow(row.at, people.names(session).get(row.by_id, "the program"), row.sentence, tuple(links))
