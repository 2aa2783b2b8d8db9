"""Strip runs, economy trials and limits of a car as JSON."""

from fastapi import APIRouter, status
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.attribute import Result, attribute
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_strip_run import FIELDS, record_strip_run
from app.actions.reinstate_limit import reinstate_limit
from app.actions.set_limit import NewLimit, ending, set_limit
from app.api.attribution import AttributionIn, AttributionOut, attributions_out
from app.api.model import ApiIn, ApiOut, Time
from app.api.paging import Cursor, Limit, ListPage, cut, decode_number, encode_cursor
from app.record import limits, results, vehicles
from app.record.tables import EconomyTrial, StripRun
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter(tags=["results"])


class StripFigures(ApiIn):
    """Elapsed times from the start beam and trap speeds, as the slip has them; at least one."""

    et_60ft_s: float | None = None
    et_330ft_s: float | None = None
    et_660ft_s: float | None = None
    trap_660ft_kmh: float | None = None
    et_1000ft_s: float | None = None
    et_1320ft_s: float | None = None
    trap_1320ft_kmh: float | None = None
    t_0_60mph_s: float | None = None
    t_0_100kmh_s: float | None = None


class StripRunIn(StripFigures):
    place: str = Field("", max_length=120)
    how: str = Field("", max_length=40, description="Timing system, GPS logger, stopwatch, …")
    note: str = ""
    run_at: Time | None = None


class StripRunOut(ApiOut):
    id: int
    vehicle_id: int
    run_at: Time
    place: str
    how: str
    note: str
    et_60ft_s: float | None
    et_330ft_s: float | None
    et_660ft_s: float | None
    trap_660ft_kmh: float | None
    et_1000ft_s: float | None
    et_1320ft_s: float | None
    trap_1320ft_kmh: float | None
    t_0_60mph_s: float | None
    t_0_100kmh_s: float | None
    attributions: list[AttributionOut]


class EconomyTrialIn(ApiIn):
    distance_km: float
    fuel_l: float
    conditions: str = ""
    driven_at: Time | None = None


class EconomyTrialOut(ApiOut):
    id: int
    vehicle_id: int
    driven_at: Time
    distance_km: float
    fuel_l: float
    consumption_l_per_100km: float
    conditions: str
    attributions: list[AttributionOut]


class LimitIn(ApiIn):
    channel: str = Field(description="A channel of a pull, like lambda_ or exhaust_temperature_c.")
    bound: str = Field(description="max or min")
    value: float = Field(description="In the unit of the channel's name.")
    severity: str = "stop"
    speed_lo_rpm: float | None = None
    speed_hi_rpm: float | None = None
    load_lo_percent: float | None = None
    load_hi_percent: float | None = None
    note: str = ""
    supersedes_id: int | None = None


class WithdrawalIn(ApiIn):
    reason: str


class LimitOut(ApiOut):
    id: int
    vehicle_id: int
    channel: str
    bound: str
    value: float
    severity: str
    speed_lo_rpm: float | None
    speed_hi_rpm: float | None
    load_lo_percent: float | None
    load_hi_percent: float | None
    note: str
    supersedes_id: int | None
    withdrawn: bool


def _strip_out(session: Session, rows: list[StripRun]) -> list[StripRunOut]:
    attributed = results.strip_attributions(session, [row.id for row in rows])
    return [
        StripRunOut(
            id=row.id,
            vehicle_id=row.vehicle_id,
            run_at=row.run_at,
            place=row.place,
            how=row.how,
            note=row.note,
            attributions=attributions_out(attributed[row.id]),
            **{name: row.results.get(name) for name in FIELDS},
        )
        for row in rows
    ]


def _economy_out(session: Session, rows: list[EconomyTrial]) -> list[EconomyTrialOut]:
    attributed = results.economy_attributions(session, [row.id for row in rows])
    return [
        EconomyTrialOut(
            id=row.id,
            vehicle_id=row.vehicle_id,
            driven_at=row.driven_at,
            distance_km=row.distance_km,
            fuel_l=row.fuel_l,
            consumption_l_per_100km=100 * row.fuel_l / row.distance_km,
            conditions=row.conditions,
            attributions=attributions_out(attributed[row.id]),
        )
        for row in rows
    ]


@router.post("/vehicles/{vehicle_id:int}/strip-runs", status_code=status.HTTP_201_CREATED)
def add_strip_run(vehicle_id: int, body: StripRunIn, session: Write, person: Tuner, now: Now) -> StripRunOut:
    """Record a strip run; it is attributed by the flash log."""
    figures = {name: value for name in FIELDS if (value := getattr(body, name)) is not None}
    row = record_strip_run(
        session,
        person=person,
        at=now,
        vehicle_id=vehicle_id,
        results=figures,
        place=body.place,
        how=body.how,
        note=body.note,
        run_at=body.run_at,
    )
    return _strip_out(session, [row])[0]


@router.get("/vehicles/{vehicle_id:int}/strip-runs")
def list_strip_runs(
    vehicle_id: int, session: Read, _person: Viewer, limit: Limit = 50, cursor: Cursor = None
) -> ListPage[StripRunOut]:
    """Strip runs of a car, the last recorded first."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.strip_runs(session, car.id, before=decode_number(cursor), limit=limit + 1)
    rows, following = cut(found, limit, lambda row: encode_cursor(row.id))
    return ListPage(items=_strip_out(session, list(rows)), next_cursor=following)


@router.post("/strip-runs/{run_id:int}/attribution", status_code=status.HTTP_201_CREATED)
def attribute_strip_run(run_id: int, body: AttributionIn, session: Write, person: Tuner, now: Now) -> StripRunOut:
    """Say what was on a control unit in this run; the earlier attribution stays in the history."""
    attribute(session, person=person, at=now, result=Result(strip_run_id=run_id), **body.model_dump())
    return _strip_out(session, [results.strip_run(session, run_id)])[0]


@router.post("/vehicles/{vehicle_id:int}/economy-trials", status_code=status.HTTP_201_CREATED)
def add_economy_trial(
    vehicle_id: int, body: EconomyTrialIn, session: Write, person: Tuner, now: Now
) -> EconomyTrialOut:
    """Record a fuel-economy trial; it is attributed by the flash log."""
    row = record_economy_trial(session, person=person, at=now, vehicle_id=vehicle_id, **body.model_dump())
    return _economy_out(session, [row])[0]


@router.get("/vehicles/{vehicle_id:int}/economy-trials")
def list_economy_trials(
    vehicle_id: int, session: Read, _person: Viewer, limit: Limit = 50, cursor: Cursor = None
) -> ListPage[EconomyTrialOut]:
    """Economy trials of a car, the last recorded first."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.economy_trials(session, car.id, before=decode_number(cursor), limit=limit + 1)
    rows, following = cut(found, limit, lambda row: encode_cursor(row.id))
    return ListPage(items=_economy_out(session, list(rows)), next_cursor=following)


@router.post("/economy-trials/{trial_id:int}/attribution", status_code=status.HTTP_201_CREATED)
def attribute_economy_trial(
    trial_id: int, body: AttributionIn, session: Write, person: Tuner, now: Now
) -> EconomyTrialOut:
    """Say what was on a control unit in this trial; the earlier attribution stays in the history."""
    attribute(session, person=person, at=now, result=Result(economy_trial_id=trial_id), **body.model_dump())
    return _economy_out(session, [results.economy_trial(session, trial_id)])[0]


@router.post("/vehicles/{vehicle_id:int}/limits", status_code=status.HTTP_201_CREATED)
def add_limit(vehicle_id: int, body: LimitIn, session: Write, person: Tuner, now: Now) -> LimitOut:
    """Set a limit, or replace the one that `supersedes_id` names."""
    fields = body.model_dump()
    supersedes_id = fields.pop("supersedes_id")
    row = set_limit(
        session, person=person, at=now, vehicle_id=vehicle_id, limit=NewLimit(**fields), supersedes_id=supersedes_id
    )
    return LimitOut.model_validate(row)


@router.get("/vehicles/{vehicle_id:int}/limits")
def list_limits(vehicle_id: int, session: Read, _person: Viewer) -> list[LimitOut]:
    """The limits in force, oldest first."""
    car = vehicles.vehicle(session, vehicle_id)
    return [LimitOut.model_validate(row) for row in vehicles.limits(session, car.id)]


@router.post("/limits/{limit_id:int}/withdrawal", status_code=status.HTTP_201_CREATED)
def withdraw_limit(limit_id: int, body: WithdrawalIn, session: Write, person: Tuner, now: Now) -> LimitOut:
    """End a limit with a reason; it stays in the history."""
    old = limits.limit(session, limit_id)
    row = set_limit(
        session,
        person=person,
        at=now,
        vehicle_id=old.vehicle_id,
        limit=ending(old, body.reason),
        supersedes_id=old.id,
        withdrawn=True,
    )
    return LimitOut.model_validate(row)


@router.post("/limits/{limit_id:int}/reinstatement", status_code=status.HTTP_201_CREATED)
def put_limit_back(limit_id: int, session: Write, person: Tuner, now: Now) -> LimitOut:
    """Put a withdrawn limit back in force, as it stood; the answer is the limit under its new number."""
    return LimitOut.model_validate(reinstate_limit(session, person=person, at=now, limit_id=limit_id))
