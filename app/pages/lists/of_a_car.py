"""Lists of a car as files: faults, option coding, limits, restores, attached files."""

from collections.abc import Iterable, Iterator

from fastapi import APIRouter
from fastapi.responses import Response

from app.calc.csv_text import Cell
from app.calc.dyno.channel_names import CHANNEL_NAMES
from app.calc.vehicle.coding import compare
from app.pages.coding import coding_row
from app.pages.lists.out import Ending, list_file
from app.record import codings, faults, flashes, limits, people, restores, vehicles
from app.record.tables import FaultScan
from app.web.csv_out import csv_download
from app.web.signed_in import Viewer
from app.web.transaction import Read
from app.web.units_view import UnitsView

router = APIRouter()


FAULT_COLUMNS = ("scan_id", "scanned_at", "occasion", "code", "failure_type", "status", "module", "text")


@router.get("/vehicles/{vehicle_id:int}/fault-scans.{ending}")
def fault_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Every fault code of every scan of a car; a scan that found none has one line without a code."""
    car = vehicles.vehicle(session, vehicle_id)
    scans = vehicles.fault_scans(session, car.id)
    return list_file(ending, f"fault-scans-{car.vin}", FAULT_COLUMNS, _faults(scans))


@router.get("/fault-scans/{scan_id:int}.{ending}")
def scan_list(scan_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """The fault codes of one scan."""
    return list_file(ending, f"fault-scan-{scan_id}", FAULT_COLUMNS, _faults([faults.scan(session, scan_id)]))


def _faults(scans: Iterable[FaultScan]) -> Iterator[tuple[Cell, ...]]:
    for scan in scans:
        head = (scan.id, scan.at, scan.occasion)
        found = faults.faults_of(scan.faults)
        for fault in found:
            status = " ".join(fault.flags)
            yield (*head, fault.dtc.code, fault.dtc.failure_type, status, fault.module, fault.text)
        if not found:
            yield (*head, None, None, None, None, "no fault codes")


@router.get("/vehicles/{vehicle_id:int}/coding.{ending}")
def snapshot_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Coding snapshots of a car, newest first."""
    car = vehicles.vehicle(session, vehicle_id)
    readers = people.names(session)
    header = ("id", "read_at", "occasion", "modules", "values", "digest", "file_name", "kept_by")
    rows = (
        (row.id, row.at, row.occasion, row.modules, row.keys, row.digest, row.file_name, readers.get(row.by_id))
        for row in flashes.coding_snapshots(session, car.id)
    )
    return list_file(ending, f"coding-{car.vin}", header, rows)


@router.get("/coding-snapshots/{snapshot_id:int}.{ending}")
def coding_list(snapshot_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Every value of one coding snapshot."""
    coding = codings.load(session, flashes.coding_snapshot(session, snapshot_id))
    rows = ((module, key, value) for module, keys in coding.modules for key, value in keys)
    return list_file(ending, f"coding-snapshot-{snapshot_id}", ("module", "key", "value"), rows)


@router.get("/coding-snapshots/{first_id:int}/compare/{second_id:int}.csv")
def coding_differences(first_id: int, second_id: int, session: Read, _person: Viewer) -> Response:
    """What differs between two coding snapshots."""
    first, second = (flashes.coding_snapshot(session, one) for one in (first_id, second_id))
    comparison = compare(codings.load(session, first), codings.load(session, second))
    header = ("module", "key", "kind", "before", "after", "bytes_and_bits")
    return csv_download(f"coding-{first_id}-to-{second_id}", header, map(coding_row, comparison.changes))


@router.get("/vehicles/{vehicle_id:int}/limits.csv")
def limit_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """Every limit that a car has or had, with what became of it; the value is in the unit beside it."""
    car = vehicles.vehicle(session, vehicle_id)
    setters = people.names(session)
    header = (
        "id", "state", "channel", "bound", "value", "unit", "speed_lo_rpm", "speed_hi_rpm", "load_lo_percent",
        "load_hi_percent", "severity", "note", "replaces_id", "set_at", "set_by",
    )  # fmt: skip
    rows = (
        (
            row.id,
            one.state,
            row.channel,
            row.bound,
            row.value,
            _unit(row.channel),
            row.speed_lo_rpm,
            row.speed_hi_rpm,
            row.load_lo_percent,
            row.load_hi_percent,
            row.severity,
            row.note,
            row.supersedes_id,
            row.at,
            setters.get(row.by_id),
        )
        for one in limits.history(session, car.id)
        for row in (one.limit,)
    )
    return csv_download(f"limits-{car.vin}", header, rows)


def _unit(channel: str) -> str | None:
    """The unit that values of the channel are kept in."""
    name = CHANNEL_NAMES.get(channel)
    return None if name is None else UnitsView().symbol(name.quantity)


@router.get("/vehicles/{vehicle_id:int}/restores.{ending}")
def restore_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Back-to-stock cases of a car and how far each came."""
    car = vehicles.vehicle(session, vehicle_id)
    openers = people.names(session)
    header = ("id", "number", "reason", "opened_at", "opened_by", "state", "progress", "margin_percent",
              "two_sign_offs", "coding_snapshot_id", "baseline_session_id", "certified_at")  # fmt: skip
    rows = (
        (
            row.id,
            row.number,
            row.reason,
            row.at,
            openers.get(row.by_id),
            case.standing,
            case.progress.sentence,
            row.margin_percent,
            row.two_sign_offs,
            row.coding_snapshot_id,
            row.baseline_session_id,
            None if case.certificate is None else case.certificate.at,
        )
        for case in restores.of_vehicle(session, car.id)
        for row in (case.restore,)
    )
    return list_file(ending, f"restores-{car.vin}", header, rows)


@router.get("/vehicles/{vehicle_id:int}/files.{ending}")
def attachment_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """Files of a car, newest first, without those that were taken back."""
    car = vehicles.vehicle(session, vehicle_id)
    adders = people.names(session)
    header = ("id", "file_name", "kind", "size_bytes", "note", "sha256", "added_at", "added_by")
    rows = (
        (row.id, row.file_name, row.kind, row.size, row.note, row.sha256, row.at, adders.get(row.by_id))
        for row in vehicles.attachments(session, car.id)
    )
    return list_file(ending, f"files-{car.vin}", header, rows)
