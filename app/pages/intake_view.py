"""What the intake page shows: what is done already, and what was typed where something was refused."""

from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy.orm import Session

from app.record import flashes, identities, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import ControlUnit, IdentityCheck, Person


@dataclass(frozen=True, slots=True)
class IntakeTyped:
    """Forms of the page as typed, each with the sentence that refused it, or none."""

    visit: dict[str, str] = field(default_factory=lambda: {"reason": "", "odometer": ""})
    visit_refused: str = ""
    faults: dict[str, str] = field(default_factory=lambda: {"text": "", "readiness": ""})
    faults_refused: str = ""
    files_refused: str = ""


@dataclass(frozen=True, slots=True)
class UnitToScan:
    id: int
    role: str
    recorded: tuple[tuple[str, str | None], ...]
    last_check: str | None
    last_check_at: datetime | None
    last_check_href: str | None
    last_state: str


@dataclass(frozen=True, slots=True)
class IntakePage:
    vehicle_id: int
    vehicle: str
    in_shop: bool
    odometer: float | None
    units: tuple[UnitToScan, ...]
    scans: tuple[tuple[str, str, datetime], ...]
    codings: int
    authorised: bool
    legal_basis: str
    may_tune: bool
    typed: IntakeTyped


def recorded(session: Session, unit: ControlUnit) -> tuple[tuple[str, str | None], ...]:
    known = identities.expected(session, unit)
    return (
        ("Hardware number", known.hardware_number),
        ("Software number", known.software_number),
        ("Calibration IDs", ", ".join(known.calibration_ids) or None),
        ("Verification numbers", ", ".join(known.cvns) or None),
    )


def intake_page(session: Session, vehicle_id: int, person: Person, typed: IntakeTyped) -> IntakePage:
    """Where the intake of a car stands."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    units = vehicles.control_units(session, vehicle.id)
    newest: dict[int, IdentityCheck] = {}
    for check in vehicles.identity_checks(session, [unit.id for unit in units]):
        newest.setdefault(check.control_unit_id, check)
    odometer = vehicles.odometer_km(session, vehicle.id)
    return IntakePage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        in_shop=vehicles.open_visit(session, vehicle.id) is not None,
        odometer=None if odometer is None else odometer[0],
        units=tuple(_to_scan(session, unit, newest.get(unit.id)) for unit in units),
        scans=tuple(
            (f"/fault-scans/{scan.id}", f"{scan.occasion}: {_codes(len(scan.faults))}", scan.at)
            for scan in vehicles.fault_scans(session, vehicle.id)[:3]
        ),
        codings=len(flashes.coding_snapshots(session, vehicle.id)),
        authorised=any(row.kind == "authorisation" for row in vehicles.attachments(session, vehicle.id)),
        legal_basis=vehicle.legal_basis,
        may_tune=person.role != "front_desk",
        typed=typed,
    )


def _codes(count: int) -> str:
    return "no codes" if count == 0 else "1 code" if count == 1 else f"{count} codes"


def _to_scan(session: Session, unit: ControlUnit, check: IdentityCheck | None) -> UnitToScan:
    return UnitToScan(
        unit.id,
        unit.role,
        recorded(session, unit),
        None if check is None else check.sentence,
        None if check is None else check.at,
        None if check is None else f"/identity-checks/{check.id}",
        "unknown" if check is None else ("ok" if check.matches else "attention"),
    )
