"""Intake: numbers compared with the record, faults as found, the car booked in."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.accept_identity import accept_identity
from app.actions.check_identity import check_identity
from app.actions.scan_faults import scan_faults
from app.calc.vehicle.identity import Identity
from app.calc.vehicle.readiness import parse_readiness
from app.errors import AppError
from app.readers.fault_list import read_fault_list
from app.record import faults, flashes, identities, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import ControlUnit, IdentityCheck, Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import FrontDesk, Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter()


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


@dataclass(frozen=True, slots=True)
class ScanPage:
    unit_id: int
    vehicle_id: int
    vehicle: str
    role: str
    recorded: tuple[tuple[str, str | None], ...]
    values: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class CheckPage:
    id: int
    vehicle_id: int
    vehicle: str
    role: str
    at: datetime
    matches: bool
    sentence: str
    fields: tuple[dict[str, Any], ...]
    accepted: bool
    may_tune: bool
    reason: str
    refused: str


@dataclass(frozen=True, slots=True)
class FaultsPage:
    vehicle_id: int
    vehicle: str
    scans: tuple[tuple[int, datetime, str, str], ...]
    values: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True)
class FaultScanPage:
    vehicle_id: int
    vehicle: str
    at: datetime
    occasion: str
    lead: str
    rows: tuple[tuple[str, str, str, str], ...]
    readiness: tuple[tuple[str, str], ...]
    text: str


class ScanForm(FormModel):
    hardware_number: str = ""
    software_number: str = ""
    calibration_ids: str = ""
    cvns: str = ""


class AcceptForm(FormModel):
    reason: str = ""
    confirmed: str = ""


class FaultForm(FormModel):
    text: str = ""
    occasion: str = "as found"
    readiness: str = ""


def _recorded(session: Session, unit: ControlUnit) -> tuple[tuple[str, str | None], ...]:
    known = identities.expected(session, unit)
    return (
        ("Hardware number", known.hardware_number),
        ("Software number", known.software_number),
        ("Calibration IDs", ", ".join(known.calibration_ids) or None),
        ("Verification numbers", ", ".join(known.cvns) or None),
    )


@router.get("/vehicles/{vehicle_id:int}/intake")
def show(request: Request, vehicle_id: int, session: Read, person: FrontDesk) -> HTMLResponse:
    vehicle = vehicles.vehicle(session, vehicle_id)
    units = vehicles.control_units(session, vehicle.id)
    newest: dict[int, IdentityCheck] = {}
    for check in vehicles.identity_checks(session, [unit.id for unit in units]):
        newest.setdefault(check.control_unit_id, check)
    odometer = vehicles.odometer_km(session, vehicle.id)
    page = IntakePage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        in_shop=vehicles.open_visit(session, vehicle.id) is not None,
        odometer=None if odometer is None else odometer[0],
        units=tuple(_to_scan(session, unit, newest.get(unit.id)) for unit in units),
        scans=tuple(
            (f"/fault-scans/{scan.id}", f"{scan.occasion}: {len(scan.faults)} codes", scan.at)
            for scan in vehicles.fault_scans(session, vehicle.id)[:3]
        ),
        codings=_coding_count(session, vehicle.id),
        authorised=any(row.kind == "authorisation" for row in vehicles.attachments(session, vehicle.id)),
        legal_basis=vehicle.legal_basis,
    )
    return render(request, "intake/page.html", page, session=session, person=person, title="Intake")


def _coding_count(session: Session, vehicle_id: int) -> int:
    return len(flashes.coding_snapshots(session, vehicle_id))


def _to_scan(session: Session, unit: ControlUnit, check: IdentityCheck | None) -> UnitToScan:
    return UnitToScan(
        unit.id,
        unit.role,
        _recorded(session, unit),
        None if check is None else check.sentence,
        None if check is None else check.at,
        None if check is None else f"/identity-checks/{check.id}",
        "unknown" if check is None else ("ok" if check.matches else "attention"),
    )


def _scan_page(session: Session, unit_id: int, form: ScanForm, sentence: str) -> ScanPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    return ScanPage(
        unit.id, vehicle.id, vehicle_label(vehicle), unit.role, _recorded(session, unit), text_of(form), sentence
    )


@router.get("/control-units/{unit_id:int}/identity-checks/new")
def show_scan(request: Request, unit_id: int, session: Read, person: FrontDesk) -> HTMLResponse:
    page = _scan_page(session, unit_id, ScanForm(), "")
    return render(request, "intake/scan.html", page, session=session, person=person, title="Check identity")


@router.post("/control-units/{unit_id:int}/identity-checks")
def take_scan(
    request: Request,
    unit_id: int,
    form: Annotated[ScanForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    scanned = Identity(
        form.hardware_number or None,
        form.software_number or None,
        tuple(line.strip() for line in form.calibration_ids.replace(",", "\n").splitlines() if line.strip()),
        tuple(form.cvns.replace(",", " ").split()),
    )
    try:
        with session.begin_nested():
            check = check_identity(session, person=person, at=now, control_unit_id=unit_id, scanned=scanned)
    except AppError as error:
        page = _scan_page(session, unit_id, form, error.sentence)
        return render(
            request,
            "intake/scan.html",
            page,
            session=session,
            person=person,
            title="Check identity",
            status=error.status,
        )
    return see_other(request, session, f"/identity-checks/{check.id}", once)


def _check_page(session: Session, check_id: int, person: Person, form: AcceptForm, refused: str) -> CheckPage:
    check = identities.check(session, check_id)
    unit = vehicles.control_unit(session, check.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    return CheckPage(
        check.id,
        vehicle.id,
        vehicle_label(vehicle),
        unit.role,
        check.at,
        check.matches,
        check.sentence,
        tuple(check.fields),
        identities.accepted_since(session, check),
        person.role != "front_desk",
        form.reason,
        refused,
    )


@router.get("/identity-checks/{check_id:int}")
def show_check(request: Request, check_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _check_page(session, check_id, person, AcceptForm(), "")
    return render(request, "intake/check.html", page, session=session, person=person, title="Identity check")


@router.post("/identity-checks/{check_id:int}/accept")
def accept(
    request: Request,
    check_id: int,
    form: Annotated[AcceptForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            accept_identity(session, person=person, at=now, identity_check_id=check_id, reason=form.reason)
    except AppError as error:
        page = _check_page(session, check_id, person, form, error.sentence)
        return render(
            request,
            "intake/check.html",
            page,
            session=session,
            person=person,
            title="Identity check",
            status=error.status,
        )
    return see_other(request, session, f"/identity-checks/{check_id}", once)


def _faults_page(session: Session, vehicle_id: int, form: FaultForm, sentence: str) -> FaultsPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    scans = vehicles.fault_scans(session, vehicle_id)
    return FaultsPage(
        vehicle.id,
        vehicle_label(vehicle),
        tuple((s.id, s.at, s.occasion, f"{len(s.faults)} codes" if s.faults else "no codes") for s in scans),
        text_of(form),
        sentence,
    )


@router.get("/vehicles/{vehicle_id:int}/fault-scans")
def show_faults(request: Request, vehicle_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _faults_page(session, vehicle_id, FaultForm(), "")
    return render(request, "intake/faults.html", page, session=session, person=person, title="Faults")


@router.post("/vehicles/{vehicle_id:int}/fault-scans")
def take_faults(
    request: Request,
    vehicle_id: int,
    form: Annotated[FaultForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    try:
        found = read_fault_list(form.text)
        if form.readiness:
            parse_readiness(form.readiness)
        with session.begin_nested():
            scan = scan_faults(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                faults=found,
                text=form.text,
                occasion=form.occasion,
                readiness={"text": form.readiness} if form.readiness else None,
            )
    except AppError as error:
        page = _faults_page(session, vehicle_id, form, error.sentence)
        return render(
            request, "intake/faults.html", page, session=session, person=person, title="Faults", status=error.status
        )
    return see_other(request, session, f"/fault-scans/{scan.id}", once)


@router.get("/fault-scans/{scan_id:int}")
def show_scan_result(request: Request, scan_id: int, session: Read, person: Viewer) -> HTMLResponse:
    scan = faults.scan(session, scan_id)
    vehicle = vehicles.vehicle(session, scan.vehicle_id)
    found = faults.faults_of(scan.faults)
    readiness: tuple[tuple[str, str], ...] = ()
    if scan.readiness:
        monitors = parse_readiness(scan.readiness["text"]).monitors
        readiness = tuple((m.name, "complete" if m.complete else "not complete") for m in monitors if m.supported)
    page = FaultScanPage(
        vehicle.id,
        vehicle_label(vehicle),
        scan.at,
        scan.occasion,
        f"{len(found)} fault {'code' if len(found) == 1 else 'codes'} found."
        if found
        else "No fault codes were reported.",
        tuple(
            (
                f.dtc.display,
                f.module,
                ", ".join(flag.replace("_", " ") for flag in f.flags),
                f.text or f.dtc.failure_text,
            )
            for f in found
        ),
        readiness,
        scan.text,
    )
    return render(request, "intake/fault_scan.html", page, session=session, person=person, title="Fault scan")
