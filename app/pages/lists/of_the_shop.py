"""Lists of the shop as files: cars, cars in the shop, sister cars, the journal, layouts."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.calc.csv_text import Cell
from app.pages.lists.out import Ending, list_file
from app.record import customers, fleet, fleet_gains, journal, layouts, vehicles
from app.record.tables import Customer, Vehicle
from app.web.csv_out import csv_download
from app.web.journal_filter import AskedFor
from app.web.page import view_of
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


@router.get("/in-shop.{ending}")
def in_shop_list(ending: Ending, session: Read, _person: Viewer) -> Response:
    """Cars in the shop, the longest here first."""
    header = ("vehicle_id", "vin", "plate", "make", "model", "arrived_at", "reason", "odometer_km")
    rows = (
        (car.id, car.vin, car.plate, car.make, car.model, visit.arrived_at, visit.reason, visit.odometer_km)
        for car, visit in vehicles.in_the_shop(session)
    )
    return list_file(ending, "in-shop", header, rows)


@router.get("/fleet/sisters.{ending}")
def sister_list(ending: Ending, session: Read, _person: Viewer) -> Response:
    """Control units of several cars that share a stock calibration."""
    header = ("stock_sha256", "software_number", "role", "vehicle_id", "vin", "plate", "on_now", "revisions")
    rows = (
        (
            family.sha256,
            family.software_number,
            one.unit.role,
            one.vehicle.id,
            one.vehicle.vin,
            one.vehicle.plate,
            one.on_now,
            one.revisions,
        )
        for family in fleet.families(session)
        for one in family.sisters
    )
    return list_file(ending, "sister-cars", header, rows)


@router.get("/fleet/changes.{ending}")
def shared_change_list(ending: Ending, session: Read, _person: Viewer) -> Response:
    """Changes that several cars got, a line for each revision that carries one."""
    header = ("change", "shared_as", "revision_id", "revision_number", "title", "control_unit_id", "sha256")
    rows = (
        (
            change.first.id,
            "port" if change.ported else "same image",
            row.id,
            row.number,
            row.title,
            row.control_unit_id,
            row.sha256,
        )
        for change in fleet.shared_changes(session)
        for row in change.revisions
    )
    return list_file(ending, "shared-changes", header, rows)


@router.get("/fleet/changes/{revision_id:int}.csv")
def change_gain_list(revision_id: int, session: Read, _person: Viewer) -> Response:
    """What one change gained on each car, averaged over the band that all of them cover."""
    header = (
        "vehicle_id", "vin", "revision_id", "revision_number", "from_session_id", "to_session_id", "measured_at",
        "gain_kw", "half_width_kw", "why_not_told",
    )  # fmt: skip
    found = fleet_gains.of_change(session, fleet.change_of(session, revision_id))
    rows = (
        (
            one.vehicle.id,
            one.vehicle.vin,
            one.revision.id,
            one.revision.number,
            None if one.before is None else one.before.id,
            None if one.after is None else one.after.id,
            None if one.after is None else one.after.measured_at,
            None if one.average is None else one.average.gain_kw,
            None if one.average is None else one.average.half_kw,
            one.refusal,
        )
        for one in found.cars
    )
    return csv_download(f"change-{revision_id}", header, rows)


@router.get("/journal.csv")
def journal_list(request: Request, session: Read, person: Viewer, asked: AskedFor) -> Response:
    """The whole journal, or what is asked for of it, newest first."""
    found = journal.page(session, limit=None, wanted=asked.read(view_of(request, session, person).zone))
    header = ("seq", "at", "person", "action", "sentence", "vehicle_id", "subject", "hash")
    rows = ((e.seq, e.at, e.person, e.action, e.sentence, e.vehicle_id, _subject(e.subject), e.hash) for e in found)
    return csv_download("journal-part" if asked.query else "journal", header, rows)


def _subject(subject: tuple[str, int | str] | None) -> str:
    return "" if subject is None else f"{subject[0]} {subject[1]}"


@router.get("/layouts.csv")
def layout_list(session: Read, _person: Viewer) -> Response:
    """The newest version of each layout."""
    header = ("id", "name", "version", "software_number", "maps", "checksums", "source", "sha256", "added_at")
    rows = (
        (r.id, r.name, r.version, r.software_number, r.map_count, r.checksum_count, r.source, r.sha256, r.at)
        for r in layouts.newest(session)
    )
    return csv_download("layouts", header, rows)


@router.get("/layouts/{layout_id:int}/maps.{ending}")
def map_list(layout_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
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
    return list_file(ending, f"maps-layout-{row.id}", header, rows)
