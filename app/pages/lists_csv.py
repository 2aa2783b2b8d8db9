"""Every list as CSV, beside the address of its page. SI units, named in the head of each column."""

from fastapi import APIRouter
from fastapi.responses import Response

from app.actions.record_strip_run import FIELDS
from app.calc.csv_text import Cell
from app.record import customers, dyno, faults, journal, layouts, people, results, revisions, vehicles
from app.record.tables import Customer, Vehicle
from app.web.csv_out import csv_download
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()

VEHICLE_COLUMNS = (
    "vin", "plate", "make", "model", "year", "engine", "fuel", "boosted", "hybrid", "driven_axles",
    "rated_power_kw", "rated_torque_nm", "rated_standard", "test_mass_kg", "gear_ratios", "final_drive", "tyre",
    "tyre_radius_m", "legal_basis", "loses_coding",
)  # fmt: skip


@router.get("/vehicles.csv")
def vehicle_list(session: Read, _person: Viewer, q: str = "") -> Response:
    """All cars that the query finds; the columns are those that the import takes."""
    found = vehicles.search(session, q, limit=None)
    header = (*VEHICLE_COLUMNS, "customer_name", "customer_contact", "registered_at")
    owners = customers.by_id(session)
    return csv_download("vehicles", header, (_vehicle(car, owners.get(car.customer_id)) for car in found))


def _vehicle(car: Vehicle, owner: Customer | None) -> list[Cell]:
    cells: list[Cell] = []
    for name in VEHICLE_COLUMNS:
        value = getattr(car, name)
        cells.append(" ".join(f"{one:g}" for one in value) if isinstance(value, list) else value)
    return [*cells, customers.shown_name(owner), "" if owner is None else owner.contact, car.made_at]


@router.get("/journal.csv")
def journal_list(session: Read, _person: Viewer, vehicle_id: int | None = None) -> Response:
    """The whole journal, or one car's, newest first."""
    found = journal.page(session, limit=None, vehicle_id=vehicle_id)
    header = ("seq", "at", "person", "action", "sentence", "vehicle_id", "subject", "hash")
    rows = ((e.seq, e.at, e.person, e.action, e.sentence, e.vehicle_id, _subject(e.subject), e.hash) for e in found)
    return csv_download("journal" if vehicle_id is None else f"journal-vehicle-{vehicle_id}", header, rows)


def _subject(subject: tuple[str, int | str] | None) -> str:
    return "" if subject is None else f"{subject[0]} {subject[1]}"


@router.get("/vehicles/{vehicle_id:int}/dyno-sessions.csv")
def session_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """A car's dyno sessions with their conditions."""
    car = vehicles.vehicle(session, vehicle_id)
    found = dyno.sessions_of_vehicle(session, car.id)
    ids = [row.id for row in found]
    on_car, runs = dyno.on_car_words(session, ids), dyno.runs_of(session, ids)
    columns = (
        "id", "measured_at", "purpose", "correction_standard", "pressure_hpa", "temperature_c",
        "relative_humidity_percent", "gear", "drive_mode", "driven_axles", "tyre", "tyre_pressure_bar", "fuel",
        "start_coolant_c", "start_intake_c", "battery_soc_percent", "note",
    )  # fmt: skip
    rows = (
        [
            *(getattr(row, name) for name in columns),
            on_car[row.id],
            len(runs[row.id]),
            sum(run.included for run in runs[row.id]),
        ]
        for row in found
    )
    return csv_download(f"dyno-sessions-{car.vin}", (*columns, "on_car", "pulls", "pulls_included"), rows)


@router.get("/control-units/{unit_id:int}/revisions.csv")
def revision_list(unit_id: int, session: Read, _person: Viewer) -> Response:
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
    return csv_download(f"revisions-unit-{unit.id}", header, rows)


@router.get("/vehicles/{vehicle_id:int}/fault-scans.csv")
def fault_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """Every fault code of every scan of a car; a scan that found none has one line without a code."""
    car = vehicles.vehicle(session, vehicle_id)
    header = ("scan_id", "scanned_at", "occasion", "code", "failure_type", "status", "module", "text")
    rows: list[tuple[Cell, ...]] = []
    for scan in vehicles.fault_scans(session, car.id):
        found = faults.faults_of(scan.faults)
        for fault in found:
            status = " ".join(fault.flags)
            rows.append(
                (
                    scan.id, scan.at, scan.occasion,
                    fault.dtc.code, fault.dtc.failure_type, status, fault.module, fault.text,
                )
            )  # fmt: skip
        if not found:
            rows.append((scan.id, scan.at, scan.occasion, None, None, None, None, "no fault codes"))
    return csv_download(f"fault-scans-{car.vin}", header, rows)


@router.get("/layouts.csv")
def layout_list(session: Read, _person: Viewer) -> Response:
    """The newest version of each layout."""
    header = ("id", "name", "version", "software_number", "maps", "checksums", "source", "sha256", "added_at")
    rows = (
        (r.id, r.name, r.version, r.software_number, r.map_count, r.checksum_count, r.source, r.sha256, r.at)
        for r in layouts.newest(session)
    )
    return csv_download("layouts", header, rows)


@router.get("/layouts/{layout_id:int}/maps.csv")
def map_list(layout_id: int, session: Read, _person: Viewer) -> Response:
    """The maps of a layout version."""
    row = layouts.layout(session, layout_id)
    definitions = layouts.definitions(session, row)
    assert definitions is not None
    header = ("name", "kind", "category", "address", "rows", "columns", "unit", "description")
    rows = (
        (
            one.name,
            one.kind,
            one.category,
            f"0x{one.address + definitions.address_base:X}",
            one.shape[0] if len(one.shape) > 1 else 1,
            one.shape[-1] if one.shape else 1,
            one.scaling.unit,
            one.description,
        )
        for one in definitions.maps
    )
    return csv_download(f"maps-layout-{row.id}", header, rows)


@router.get("/vehicles/{vehicle_id:int}/strip-runs.csv")
def strip_run_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """A car's strip runs with the figures of their slips."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.strip_runs(session, car.id)
    on_car = dyno.attributed_words(session, results.strip_attributions(session, [row.id for row in found]))
    header = ("id", "run_at", "on_car", *FIELDS, "place", "measured_by", "note")
    rows = (
        (row.id, row.run_at, on_car[row.id], *(row.results.get(name) for name in FIELDS), row.place, row.how, row.note)
        for row in found
    )
    return csv_download(f"strip-runs-{car.vin}", header, rows)


@router.get("/vehicles/{vehicle_id:int}/economy-trials.csv")
def economy_trial_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """A car's economy trials."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.economy_trials(session, car.id)
    on_car = dyno.attributed_words(session, results.economy_attributions(session, [row.id for row in found]))
    header = ("id", "driven_at", "on_car", "distance_km", "fuel_l", "consumption_l_per_100km", "conditions")
    rows = (
        (
            row.id,
            row.driven_at,
            on_car[row.id],
            row.distance_km,
            row.fuel_l,
            round(100 * row.fuel_l / row.distance_km, 4),
            row.conditions,
        )
        for row in found
    )
    return csv_download(f"economy-trials-{car.vin}", header, rows)


@router.get("/inbox.csv")
def inbox_list(session: Read, _person: Viewer) -> Response:
    """Dyno files that belong to no session yet."""
    header = ("id", "file_name", "recorded_at", "added_at", "pulls", "channels", "findings", "sha256")
    rows = (
        (
            row.id,
            row.file_name,
            row.recorded_at,
            row.at,
            row.summary["pulls"],
            " ".join(row.summary["channels"]),
            " ".join(row.summary["findings"]),
            row.sha256,
        )
        for row in dyno.inbox(session)
    )
    return csv_download("inbox", header, rows)
