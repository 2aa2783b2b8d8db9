"""A strip run computed from a session's wheel power, as JSON."""

from fastapi import APIRouter

from app.actions.record_strip_run import FIELDS
from app.api.model import ApiOut
from app.record import dyno, vehicles
from app.web.computed_run import AskedRun, compute
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(tags=["results"])


class TakenForGranted(ApiOut):
    """The car of the computation: from its record, and what the caller gave or common practice has."""

    mass_kg: float
    gear_ratios: list[float]
    final_drive: float
    tyre_radius_m: float
    cda_m2: float
    crr: float
    shift_time_s: float
    shift_speed_rpm: float | None
    friction: float
    driven_weight_share: float


class ChangeOut(ApiOut):
    """In the unit of the figure's name. The interval is that of the dyno alone; None where it is not known."""

    before: float
    after: float
    change: float
    low: float | None
    high: float | None
    resolved: bool


class ComputedRunOut(ApiOut):
    """figures: of the run of one session, without those that were not reached; changes: where two were given."""

    vehicle_id: int
    offered_session_ids: list[int]
    session_id: int | None = None
    against_session_id: int | None = None
    taken_for_granted: TakenForGranted | None = None
    figures: dict[str, float] | None = None
    changes: dict[str, ChangeOut] | None = None


@router.get("/vehicles/{vehicle_id:int}/computed-run")
def show(vehicle_id: int, session: Read, _person: Viewer, asked: AskedRun) -> ComputedRunOut:
    """A run from standstill at full load on a level strip, computed; without a session, those that can be chosen."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    offered = [row.id for row in dyno.sessions_of_vehicle(session, vehicle.id)]
    found = compute(session, vehicle, asked, offered)
    if found is None:
        return ComputedRunOut(vehicle_id=vehicle.id, offered_session_ids=offered)
    figures = None if found.run is None else found.run.figures()
    return ComputedRunOut(
        vehicle_id=vehicle.id,
        offered_session_ids=offered,
        session_id=found.session_id,
        against_session_id=found.against_id,
        taken_for_granted=TakenForGranted.model_validate(found.car),
        figures=None if figures is None else {name: figures[name] for name in FIELDS if name in figures},
        changes=None
        if found.changes is None
        else {name: ChangeOut.model_validate(found.changes[name]) for name in FIELDS if name in found.changes},
    )
