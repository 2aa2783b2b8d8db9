"""Sister cars and what the same change gained on them, as JSON."""

from fastapi import APIRouter

from app.api.model import ApiOut
from app.record import fleet, fleet_gains
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(prefix="/fleet", tags=["fleet"])


class SisterOut(ApiOut):
    vehicle_id: int
    vin: str
    control_unit_id: int
    role: str
    on_car_now: str
    revisions: int


class FamilyOut(ApiOut):
    stock_sha256: str
    role: str
    software_number: str
    layout_id: int | None
    cars: list[SisterOut]


class ChangeOut(ApiOut):
    revision_ids: list[int]
    title: str
    ported: bool


class FleetOut(ApiOut):
    families: list[FamilyOut]
    shared_changes: list[ChangeOut]


class CarGainOut(ApiOut):
    vehicle_id: int
    revision_id: int
    before_session_id: int | None
    after_session_id: int | None
    gain_kw: float | None
    half_width_kw: float | None
    refusal: str


class PredictionOut(ApiOut):
    cars: int
    mean_kw: float
    standard_deviation_kw: float
    low_kw: float
    high_kw: float
    confidence: float


class FleetGainOut(ApiOut):
    """`against`: what each gain is measured against. `prediction` is null for the reason given."""

    revision_ids: list[int]
    against: str
    band_low_rpm: float | None
    band_high_rpm: float | None
    standard: str | None
    cars: list[CarGainOut]
    prediction: PredictionOut | None
    reason: str


def _family(one: fleet.Family) -> FamilyOut:
    return FamilyOut(
        stock_sha256=one.sha256,
        role=one.role,
        software_number=one.software_number,
        layout_id=None if one.layout is None else one.layout.id,
        cars=[
            SisterOut(
                vehicle_id=sister.vehicle.id,
                vin=sister.vehicle.vin,
                control_unit_id=sister.unit.id,
                role=sister.unit.role,
                on_car_now=sister.on_now,
                revisions=sister.revisions,
            )
            for sister in one.sisters
        ],
    )


@router.get("")
def show(session: Read, _person: Viewer) -> FleetOut:
    """Cars by shared stock, the largest families first, and the changes that more than one car got."""
    return FleetOut(
        families=[_family(one) for one in fleet.families(session)],
        shared_changes=[
            ChangeOut(revision_ids=[row.id for row in one.revisions], title=one.first.title, ported=one.ported)
            for one in fleet.shared_changes(session)
        ],
    )


@router.get("/changes/{revision_id:int}")
def show_change(revision_id: int, session: Read, _person: Viewer) -> FleetGainOut:
    """What the change of this revision gained on each car, averaged over the band that all cover, and what the next
    car may expect."""
    change = fleet.change_of(session, revision_id)
    found = fleet_gains.of_change(session, change)
    said = found.prediction
    return FleetGainOut(
        revision_ids=[row.id for row in change.revisions],
        against="parent" if change.ported else "stock",
        band_low_rpm=None if found.band is None else found.band[0],
        band_high_rpm=None if found.band is None else found.band[1],
        standard=found.standard,
        cars=[
            CarGainOut(
                vehicle_id=one.vehicle.id,
                revision_id=one.revision.id,
                before_session_id=None if one.before is None else one.before.id,
                after_session_id=None if one.after is None else one.after.id,
                gain_kw=None if one.average is None else one.average.gain_kw,
                half_width_kw=None if one.average is None else one.average.half_kw,
                refusal=one.refusal,
            )
            for one in found.cars
        ],
        prediction=None
        if said is None
        else PredictionOut(
            cars=said.cars,
            mean_kw=said.mean,
            standard_deviation_kw=said.deviation,
            low_kw=said.low,
            high_kw=said.high,
            confidence=said.confidence,
        ),
        reason=found.reason,
    )
