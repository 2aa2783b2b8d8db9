"""What the intake page shows: what is done already, and what was typed where something was refused."""

from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.number_text import counted
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
    last_is_earlier: bool


@dataclass(frozen=True, slots=True)
class IntakePage:
    """arrived_at : when the car came, None while it is not in the shop. authorised_at : of the newest signed
    authorisation; authorised_now : whether it came with this visit."""

    vehicle_id: int
    vehicle: str
    arrived_at: datetime | None
    odometer: float | None
    units: tuple[UnitToScan, ...]
    scans: tuple[tuple[str, str, datetime], ...]
    codings: int
    authorised_at: datetime | None
    authorised_now: bool
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
    visit = vehicles.open_visit(session, vehicle.id)
    arrived_at = None if visit is None else visit.arrived_at
    signed = (row.at for row in vehicles.attachments(session, vehicle.id) if row.kind == "authorisation")
    authorised_at = next(signed, None)
    return IntakePage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        arrived_at=arrived_at,
        odometer=None if odometer is None else odometer[0],
        units=tuple(_to_scan(session, unit, newest.get(unit.id), arrived_at) for unit in units),
        scans=tuple(
            (f"/fault-scans/{scan.id}", f"{scan.occasion}: {_codes(len(scan.faults))}", scan.at)
            for scan in vehicles.fault_scans(session, vehicle.id)[:3]
        ),
        codings=len(flashes.coding_snapshots(session, vehicle.id)),
        authorised_at=authorised_at,
        authorised_now=authorised_at is not None and _belongs(authorised_at, arrived_at),
        legal_basis=vehicle.legal_basis,
        may_tune=person.role != "front_desk",
        typed=typed,
    )


def _belongs(at: datetime, arrived_at: datetime | None) -> bool:
    """Whether something was done on this visit; what was found on an earlier one proves nothing about now."""
    return arrived_at is not None and at >= arrived_at


def _codes(count: int) -> str:
    return "no codes" if count == 0 else counted(count, "code")


def _to_scan(
    session: Session, unit: ControlUnit, check: IdentityCheck | None, arrived_at: datetime | None
) -> UnitToScan:
    earlier = check is not None and not _belongs(check.at, arrived_at)
    return UnitToScan(
        unit.id,
        unit.role,
        recorded(session, unit),
        None if check is None else check.sentence,
        None if check is None else check.at,
        None if check is None else f"/identity-checks/{check.id}",
        "unknown" if check is None or (earlier and check.matches) else ("ok" if check.matches else "attention"),
        earlier,
    )
