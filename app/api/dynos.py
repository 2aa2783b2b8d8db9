"""One dyno as JSON: how its pulls repeat, and whether it drifts."""

from collections.abc import Mapping, Sequence
from math import sqrt

from fastapi import APIRouter
from sqlalchemy.orm import Session

from app.api.model import ApiOut, Time
from app.calc.dyno.control_chart import Chart, individuals, standard_deviations, usual_count
from app.calc.dyno.history import Spread
from app.record import dyno, dyno_curves, dyno_levels
from app.record.rollers import columns_of, rollers_of
from app.record.tables import DynoSession
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(tags=["dyno"])


class HistoryOut(ApiOut):
    """Pooled over the sessions with two pulls or more (ISO 5725-2), in % of the power."""

    sessions: int
    degrees_of_freedom: float
    s_level_percent: float
    s_shape_percent: float


class DynoSessionOut(ApiOut):
    """A session on this dyno; its scatter is null below two pulls that count."""

    id: int
    vehicle_id: int
    measured_at: Time
    on_car: str
    pulls: int
    s_level_percent: float | None
    s_shape_percent: float | None


class ChartOut(ApiOut):
    """A control chart over sessions: centre line, limits of three standard deviations, sessions outside them."""

    session_ids: list[int]
    values: list[float]
    centre: float
    lower: float
    upper: float
    outside_session_ids: list[int]


class CarOut(ApiOut):
    """A car measured again and again on one calibration: its mean power in kW per session; `note` says over which
    speeds and under which correction. The chart is null below three sessions with a curve."""

    vehicle_id: int
    on_car: str
    note: str
    mean_power_kw: ChartOut | None


class RollersOut(ApiOut):
    """Rollers of a dyno that records speed alone: inertia, radius, drag A + B·v + C·v²; `…_u` standard
    uncertainties in the same units."""

    inertia_kgm2: float
    inertia_u: float
    radius_m: float
    radius_u: float
    a_n: float
    a_u: float
    b_n_per_ms: float
    b_u: float
    c_n_per_ms2: float
    c_u: float


class DynoDetail(ApiOut):
    """`columns`: heading → quantity and unit, as a person confirmed them; null while nobody has. `rollers`: null
    while nobody has entered them."""

    id: int
    name: str
    note: str
    columns: dict[str, dict[str, str | None]] | None
    rollers: RollersOut | None
    history: HistoryOut | None
    level_scatter_percent: ChartOut | None
    cars: list[CarOut]
    sessions: list[DynoSessionOut]


@router.get("/dynos/{dyno_id:int}")
def show_dyno(dyno_id: int, session: Read, _person: Viewer) -> DynoDetail:
    """A dyno with its pooled repeatability, control charts and sessions, oldest first."""
    place = dyno.dyno(session, dyno_id)
    rollers = rollers_of(place)
    rows = dyno.sessions_of_dyno(session, place.id)
    spreads = dyno_curves.spreads(session, [row.id for row in rows])
    past = dyno_curves.history(session, place.id)
    return DynoDetail(
        id=place.id,
        name=place.name,
        note=place.note,
        columns=columns_of(place),
        rollers=None if rollers is None else RollersOut.model_validate(rollers),
        history=None
        if past is None
        else HistoryOut(
            sessions=past.sessions,
            degrees_of_freedom=past.dof,
            s_level_percent=100 * sqrt(past.level_variance),
            s_shape_percent=100 * sqrt(past.shape_variance),
        ),
        level_scatter_percent=_scatter(rows, spreads),
        cars=[_car(session, one) for one in dyno_levels.repeated_cars(session, rows)],
        sessions=_sessions(session, rows, spreads),
    )


def _scatter(rows: Sequence[DynoSession], spreads: Mapping[int, Spread]) -> ChartOut | None:
    usual = usual_count([round(one.dof) + 1 for one in spreads.values()])
    if usual is None:
        return None
    ids = [row.id for row in rows if row.id in spreads and round(spreads[row.id].dof) + 1 == usual]
    return _chart(ids, standard_deviations([100 * sqrt(spreads[i].level_variance) for i in ids], usual))


def _chart(ids: Sequence[int], chart: Chart | None) -> ChartOut | None:
    if chart is None:
        return None
    return ChartOut(
        session_ids=list(ids),
        values=list(chart.values),
        centre=chart.centre,
        lower=chart.lower,
        upper=chart.upper,
        outside_session_ids=[ids[k] for k in chart.outside],
    )


def _car(session: Session, car: dyno_levels.CarLevels) -> CarOut:
    found = dyno_levels.levels(session, car)
    chart = individuals([value for _, value in found.points])
    return CarOut(
        vehicle_id=car.vehicle_id,
        on_car=car.on_car,
        note=found.note,
        mean_power_kw=_chart([row.id for row, _ in found.points], chart),
    )


def _sessions(session: Session, rows: Sequence[DynoSession], spreads: Mapping[int, Spread]) -> list[DynoSessionOut]:
    ids = [row.id for row in rows]
    keys, on_car = dyno.pull_keys(session, ids), dyno.on_car_words(session, ids)
    found = []
    for row in rows:
        spread = spreads.get(row.id)
        found.append(
            DynoSessionOut(
                id=row.id,
                vehicle_id=row.vehicle_id,
                measured_at=row.measured_at,
                on_car=on_car[row.id],
                pulls=sum(key.included for key in keys[row.id]),
                s_level_percent=None if spread is None else 100 * sqrt(spread.level_variance),
                s_shape_percent=None if spread is None else 100 * sqrt(spread.shape_variance),
            )
        )
    return found
