"""Vehicles and their control units as JSON."""

from typing import Any

from fastapi import APIRouter, status
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.actions.change_customer import change_customer
from app.actions.change_vehicle import change_vehicle
from app.actions.erase_customer import erase_customer
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.api.model import ApiIn, ApiOut, Time
from app.api.paging import Cursor, Limit, ListPage, cut, decode_number, encode_cursor
from app.record import attention, car_state, stocks, vehicle_details, vehicles
from app.record.tables import ControlUnit, Vehicle
from app.web.now import Now
from app.web.signed_in import FrontDesk, Manager, Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter(tags=["vehicles"])


class VehicleIn(ApiIn):
    vin: str
    make: str
    model: str
    plate: str = ""
    customer_name: str = ""
    customer_contact: str = ""
    year: int | None = None
    engine: str = ""
    fuel: str = "petrol"
    boosted: bool = False
    hybrid: bool = False
    driven_axles: str = "rear"
    rated_power_kw: float | None = None
    rated_torque_nm: float | None = None
    rated_standard: str | None = None
    test_mass_kg: float | None = None
    gear_ratios: list[float] = Field(default_factory=list)
    final_drive: float | None = None
    tyre: str = ""
    tyre_radius_m: float | None = None
    legal_basis: str = ""
    loses_coding: bool = True
    odometer_km: float | None = None
    visit_reason: str = ""


class VehicleChange(ApiIn):
    """Only the fields that are to change; `seen_at` is `changed_at` as it was read."""

    vin: str | None = None
    plate: str | None = None
    make: str | None = None
    model: str | None = None
    year: int | None = None
    engine: str | None = None
    fuel: str | None = None
    boosted: bool | None = None
    hybrid: bool | None = None
    driven_axles: str | None = None
    rated_power_kw: float | None = None
    rated_torque_nm: float | None = None
    rated_standard: str | None = None
    test_mass_kg: float | None = None
    gear_ratios: list[float] | None = None
    final_drive: float | None = None
    tyre: str | None = None
    tyre_radius_m: float | None = None
    legal_basis: str | None = None
    loses_coding: bool | None = None
    reason: str = ""
    seen_at: Time | None = None


class CustomerIn(ApiIn):
    """`another`: the car has changed hands, the customer before stays on record apart from it."""

    name: str
    contact: str = ""
    another: bool = False


class CustomerOut(ApiOut):
    id: int
    name: str
    contact: str
    erased_at: Time | None


class OnCarOut(ApiOut):
    control_unit_id: int
    role: str
    kind: str
    certainty: str
    revision_id: int | None
    stock_id: int | None
    sentence: str


class AttentionOut(ApiOut):
    severity: str
    sentence: str
    action: str


class ControlUnitOut(ApiOut):
    id: int
    vehicle_id: int
    role: str
    hardware_number: str
    software_number: str
    calibration_ids: list[str]
    cvns: list[str]
    base_address: int
    stock_sha256: str | None


class VehicleOut(ApiOut):
    id: int
    vin: str
    plate: str
    make: str
    model: str
    year: int | None
    engine: str
    fuel: str
    boosted: bool
    hybrid: bool
    driven_axles: str
    rated_power_kw: float | None
    rated_torque_nm: float | None
    rated_standard: str | None
    test_mass_kg: float | None
    gear_ratios: list[float]
    final_drive: float | None
    tyre: str
    tyre_radius_m: float | None
    legal_basis: str
    loses_coding: bool
    customer_id: int | None
    customer_name: str | None
    registered_at: Time
    changed_at: Time


class VehicleDetail(VehicleOut):
    control_units: list[ControlUnitOut]
    on_car_now: list[OnCarOut]
    coding_pending: bool
    attention: list[AttentionOut]


class ControlUnitIn(ApiIn):
    role: str
    hardware_number: str
    software_number: str = ""
    calibration_ids: list[str] = Field(default_factory=list)
    cvns: list[str] = Field(default_factory=list)
    base_address: int = 0


def _out(session: Session, vehicle: Vehicle) -> dict[str, Any]:
    owner = vehicles.customer(session, vehicle.customer_id)
    same = {name: getattr(vehicle, name) for name in VehicleOut.model_fields if hasattr(vehicle, name)}
    name = None if owner is None or owner.erased_at is not None else owner.name
    return {**same, "customer_name": name, "registered_at": vehicle.made_at}


def _unit_out(session: Session, unit: ControlUnit) -> ControlUnitOut:
    stock = stocks.current(session, unit.id)
    return ControlUnitOut(
        id=unit.id,
        vehicle_id=unit.vehicle_id,
        role=unit.role,
        hardware_number=unit.hardware_number,
        software_number=unit.software_number,
        calibration_ids=list(unit.calibration_ids),
        cvns=list(unit.cvns),
        base_address=unit.base_address,
        stock_sha256=None if stock is None else stock.sha256,
    )


def _detail(session: Session, vehicle: Vehicle) -> VehicleDetail:
    units = vehicles.control_units(session, vehicle.id)
    states = car_state.on_units(session, [unit.id for unit in units])
    return VehicleDetail(
        **_out(session, vehicle),
        control_units=[_unit_out(session, unit) for unit in units],
        on_car_now=[
            OnCarOut(
                control_unit_id=unit.id,
                role=unit.role,
                kind=states[unit.id].kind,
                certainty=states[unit.id].certainty,
                revision_id=states[unit.id].revision_id,
                stock_id=states[unit.id].stock_id,
                sentence=states[unit.id].sentence,
            )
            for unit in units
        ],
        coding_pending=vehicle.id in car_state.pending_of(session, [vehicle]),
        attention=[
            AttentionOut(severity=a.severity, sentence=a.sentence, action=a.action)
            for a in attention.of_vehicles(session, [vehicle])
        ],
    )


@router.post("/vehicles", status_code=status.HTTP_201_CREATED)
def register(body: VehicleIn, session: Write, person: FrontDesk, now: Now) -> VehicleDetail:
    """Register a car; 422 for a VIN that cannot be one, 409 when it is on record already."""
    fields = body.model_dump()
    fields["gear_ratios"] = tuple(body.gear_ratios)
    return _detail(session, register_vehicle(session, person=person, at=now, car=NewVehicle(**fields)))


@router.get("/vehicles")
def search(
    session: Read, _person: Viewer, q: str = "", limit: Limit = 50, cursor: Cursor = None
) -> ListPage[VehicleOut]:
    """Cars in which every word of `q` occurs (VIN, plate, customer, make, model, engine), newest first."""
    rows, following = cut(
        vehicles.search(session, q, limit=limit + 1, after=decode_number(cursor)),
        limit,
        lambda vehicle: encode_cursor(vehicle.id),
    )
    return ListPage(items=[VehicleOut(**_out(session, row)) for row in rows], next_cursor=following)


@router.get("/vehicles/{vehicle_id:int}")
def show(vehicle_id: int, session: Read, _person: Viewer) -> VehicleDetail:
    """The record with what is on the car now, whether coding is pending, and what needs attention."""
    return _detail(session, vehicles.vehicle(session, vehicle_id))


@router.patch("/vehicles/{vehicle_id:int}")
def change(vehicle_id: int, body: VehicleChange, session: Write, person: FrontDesk, now: Now) -> VehicleDetail:
    """Change the fields that are given; 409 when somebody changed the car after `seen_at`, or nothing would change."""
    given = body.model_dump(exclude_unset=True, exclude={"reason", "seen_at"})
    if given.get("gear_ratios") is not None:
        given["gear_ratios"] = tuple(given["gear_ratios"])
    known = vehicle_details.of_row(vehicles.vehicle(session, vehicle_id))
    vehicle = change_vehicle(
        session,
        person=person,
        at=now,
        vehicle_id=vehicle_id,
        wanted=vehicle_details.with_given(known, given),
        reason=body.reason,
        seen_at=body.seen_at,
    )
    return _detail(session, vehicle)


@router.put("/vehicles/{vehicle_id:int}/customer")
def set_customer(vehicle_id: int, body: CustomerIn, session: Write, person: FrontDesk, now: Now) -> CustomerOut:
    """Correct the customer of the car, or name another one from now on."""
    owner = change_customer(session, person=person, at=now, vehicle_id=vehicle_id, **body.model_dump())
    return CustomerOut.model_validate(owner)


@router.post("/customers/{customer_id:int}/erase")
def erase(customer_id: int, session: Write, person: Manager, now: Now) -> CustomerOut:
    """Empty name and contact on request; cars, their history and the journal stay whole."""
    return CustomerOut.model_validate(erase_customer(session, person=person, at=now, customer_id=customer_id))


@router.post("/vehicles/{vehicle_id:int}/control-units", status_code=status.HTTP_201_CREATED)
def add_unit(vehicle_id: int, body: ControlUnitIn, session: Write, person: Tuner, now: Now) -> ControlUnitOut:
    """Put a control unit on record."""
    unit = add_control_unit(session, person=person, at=now, vehicle_id=vehicle_id, **body.model_dump())
    return _unit_out(session, unit)
