"""Intake: numbers compared with the record, faults as found, the car booked in."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.accept_identity import accept_identity
from app.actions.check_identity import check_identity
from app.actions.scan_faults import scan_faults
from app.calc.number_text import counted
from app.calc.vehicle.identity import Identity
from app.calc.vehicle.readiness import parse_readiness
from app.errors import AppError
from app.pages.intake_view import IntakeTyped, intake_page, recorded
from app.readers.fault_list import read_fault_list
from app.record import faults, identities, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import FrontDesk, Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter()

# Forms of the intake page lead back to it, at what comes next.
Back = Literal["", "intake"]


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
    id: int
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
    back: Back = ""


class AcceptForm(FormModel):
    reason: str = ""
    confirmed: str = ""


class FaultForm(FormModel):
    text: str = ""
    occasion: str = "as found"
    readiness: str = ""
    back: Back = ""


@router.get("/vehicles/{vehicle_id:int}/intake")
def show(request: Request, vehicle_id: int, session: Read, person: FrontDesk) -> HTMLResponse:
    return _intake(request, session, vehicle_id, person, IntakeTyped(), 200)


def _intake(
    request: Request, session: Session, vehicle_id: int, person: Person, typed: IntakeTyped, status: int
) -> HTMLResponse:
    page = intake_page(session, vehicle_id, person, typed)
    return render(request, "intake/page.html", page, session=session, person=person, title="Intake", status=status)


def _scan_page(session: Session, unit_id: int, form: ScanForm, sentence: str) -> ScanPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    return ScanPage(
        unit.id, vehicle.id, vehicle_label(vehicle), unit.role, recorded(session, unit), text_of(form), sentence
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
    goes_on = form.back == "intake" and check.matches
    where = _next_of_intake(session, unit_id) if goes_on else f"/identity-checks/{check.id}"
    return see_other(request, session, where, once)


def _next_of_intake(session: Session, unit_id: int) -> str:
    vehicle_id = vehicles.control_unit(session, unit_id).vehicle_id
    several = len(vehicles.control_units(session, vehicle_id)) > 1
    return f"/vehicles/{vehicle_id}/intake#{'identity' if several else 'faults'}"


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
        tuple((s.id, s.at, s.occasion, counted(len(s.faults), "code") if s.faults else "no codes") for s in scans),
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
        if form.back == "intake":
            typed = IntakeTyped(faults=text_of(form), faults_refused=error.sentence)
            return _intake(request, session, vehicle_id, person, typed, error.status)
        page = _faults_page(session, vehicle_id, form, error.sentence)
        return render(
            request, "intake/faults.html", page, session=session, person=person, title="Faults", status=error.status
        )
    where = f"/vehicles/{vehicle_id}/intake#coding" if form.back == "intake" else f"/fault-scans/{scan.id}"
    return see_other(request, session, where, once)


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
        scan.id,
        vehicle.id,
        vehicle_label(vehicle),
        scan.at,
        scan.occasion,
        f"{counted(len(found), 'fault code')} found." if found else "No fault codes were reported.",
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
