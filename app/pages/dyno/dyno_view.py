"""What the page of a dyno shows: its repeatability over the months, a car measured again and again, its columns."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

from sqlalchemy.orm import Session

from app.calc.dyno.control_chart import Chart, individuals, standard_deviations, usual_count
from app.calc.dyno.history import History
from app.calc.dyno.simultaneous import pulls_to_lean
from app.calc.number_text import NARROW_SPACE, counted, plain
from app.pages.dyno.profile import ColumnRow, choices, rows_of
from app.record import dyno, dyno_curves, dyno_levels, vehicles
from app.record.car_state import vehicle_label
from app.record.dyno_levels import CarLevels
from app.record.rollers import columns_of
from app.record.tables import DynoSession, Person
from app.web.page import View, day, writing_as


@dataclass(frozen=True, slots=True)
class SessionLine:
    href: str
    at: dt.datetime
    vehicle: str
    on_car: str
    pulls: int
    level: str
    shape: str


@dataclass(frozen=True, slots=True)
class ControlView:
    """A control chart with its finding."""

    summary: str
    data: dict[str, Any]
    rows: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class DynoPage:
    id: int
    name: str
    note: str
    lead: str
    may_tune: bool
    scatter: ControlView | None
    scatter_note: str
    car: str
    level: ControlView | None
    level_note: str
    cars: tuple[tuple[str, str], ...]
    chosen_car: str
    sessions: tuple[SessionLine, ...]
    confirmed: int
    columns: tuple[ColumnRow, ...]
    choices: tuple[tuple[str, str], ...]
    sample: str
    sentence: str


def dyno_page(
    session: Session,
    dyno_id: int,
    person: Person,
    view: View,
    *,
    car: int | None = None,
    columns: tuple[ColumnRow, ...] = (),
    sample: str = "",
    sentence: str = "",
) -> DynoPage:
    """A dyno with its sessions, newest first in the list, oldest first in the charts."""
    place = dyno.dyno(session, dyno_id)
    rows = dyno.sessions_of_dyno(session, place.id)
    history = dyno_curves.history(session, place.id)
    repeated = dyno_levels.repeated_cars(session, rows)
    chosen = next((one for one in repeated if one.vehicle_id == car), repeated[0] if repeated else None)
    scatter, scatter_note = _scatter(session, rows, view)
    level, level_note = (None, "") if chosen is None else _level(session, chosen, view)
    lead = "No session with two pulls that count yet: its repeatability is not known."
    if history is not None:
        made = counted(history.sessions, "session")
        lead = (
            f"One pull repeats to {plain(100 * sqrt(history.variance), 2)} % (standard deviation over {made}, "
            f"{counted(history.dof, 'degree of freedom', 'degrees of freedom')}). "
            f"{_leaning(history)}{_drift(scatter, level)}"
        )
    names = {one.vehicle_id: vehicle_label(vehicles.vehicle(session, one.vehicle_id)) for one in repeated}
    return DynoPage(
        id=place.id,
        name=place.name,
        note=place.note,
        lead=lead,
        may_tune=person.role != "front_desk",
        scatter=scatter,
        scatter_note=scatter_note,
        car="" if chosen is None else f"{names[chosen.vehicle_id]}, {chosen.on_car}",
        level=level,
        level_note=level_note,
        cars=tuple(
            (str(one.vehicle_id), f"{names[one.vehicle_id]}, {counted(len(one.sessions), 'session')}")
            for one in repeated
        ),
        chosen_car="" if chosen is None else str(chosen.vehicle_id),
        sessions=_lines(session, rows),
        confirmed=len(columns_of(place) or {}),
        columns=columns or _last_columns(session, rows),
        choices=choices() if person.role != "front_desk" else (),
        sample=sample,
        sentence=sentence,
    )


def _leaning(history: History) -> str:
    enough = pulls_to_lean(history)
    return "" if enough is None else f"From {enough} pulls in each session on, a gain leans on that history. "


def _drift(scatter: ControlView | None, level: ControlView | None) -> str:
    """Is it drifting? From both control charts, as far as there are any."""
    if scatter is None and level is None:
        return "Whether it drifts cannot be told before three sessions of like kind."
    outside = [
        what for what, chart in (("its scatter", scatter), ("a car's power", level)) if chart and chart.data["outside"]
    ]
    if outside:
        return f"It may be drifting: {' and '.join(outside)} left the control limits; look below for when."
    if level is None:
        return "Its scatter is steady; that its level does not drift would take one car measured three times unchanged."
    return "Nothing shows that it drifts."


def _lines(session: Session, rows: Sequence[DynoSession]) -> tuple[SessionLine, ...]:
    ids = [row.id for row in rows]
    keys, on_car = dyno.pull_keys(session, ids), dyno.on_car_words(session, ids)
    spreads = dyno_curves.spreads(session, ids)
    cars = {row.vehicle_id: vehicle_label(vehicles.vehicle(session, row.vehicle_id)) for row in rows}
    lines = []
    for row in reversed(rows):
        spread = spreads.get(row.id)
        level = shape = "needs two pulls"
        if spread is not None:
            level, shape = (
                f"{plain(100 * sqrt(v), 2)}{NARROW_SPACE}%" for v in (spread.level_variance, spread.shape_variance)
            )
        counting = sum(key.included for key in keys[row.id])
        lines.append(
            SessionLine(
                f"/dyno-sessions/{row.id}",
                row.measured_at,
                cars[row.vehicle_id],
                on_car[row.id],
                counting,
                level,
                shape,
            )
        )
    return tuple(lines)


def _scatter(session: Session, rows: Sequence[DynoSession], view: View) -> tuple[ControlView | None, str]:
    """The level scatter of sessions with the usual number of pulls: limits hold for one number only."""
    spreads = dyno_curves.spreads(session, [row.id for row in rows])
    usual = usual_count([round(one.dof) + 1 for one in spreads.values()])
    if usual is None:
        return None, "Make sessions with two pulls or more; each adds a point."
    shown = [row for row in rows if row.id in spreads and round(spreads[row.id].dof) + 1 == usual]
    values = [100 * sqrt(spreads[row.id].level_variance) for row in shown]
    chart = standard_deviations(values, usual)
    if chart is None:
        return None, f"{counted(len(values), 'session')} of {usual} pulls so far; a control chart begins with three."
    what = f"Scatter of level within sessions of {usual} pulls"
    left_out = len(spreads) - len(shown)
    note = ""
    if left_out:
        note = (
            f"{counted(left_out, 'session')} with another number of pulls {'is' if left_out == 1 else 'are'} left out."
        )
    return _control(what, "Level scatter s", "%", chart, shown, view, 2), note


def _level(session: Session, car: CarLevels, view: View) -> tuple[ControlView | None, str]:
    """A car that nothing was changed on: does it keep its power on this dyno?"""
    found = dyno_levels.levels(session, car)
    chart = individuals([value for _, value in found.points])
    if chart is None:
        return None, "A car measured three times on one calibration is needed."
    rows = [row for row, _ in found.points]
    control = _control(
        "The car's mean power on this dyno",
        "Mean power",
        view.units.symbol("power"),
        _shown(chart, view),
        rows,
        view,
        1,
    )
    return control, found.note


def _shown(chart: Chart, view: View) -> Chart:
    factor = view.units.show(1.0, "power")
    values = tuple(value * factor for value in chart.values)
    return Chart(values, chart.centre * factor, chart.lower * factor, chart.upper * factor, chart.outside)


def _control(
    what: str, label: str, unit: str, chart: Chart, rows: Sequence[DynoSession], view: View, decimals: int
) -> ControlView:
    with writing_as(view):
        days = _distinct([day(row.measured_at) for row in rows])
    outside = [days[k] for k in chart.outside]
    finding = (
        "every point lies within the control limits: nothing shows that the dyno drifts"
        if not outside
        else f"outside the control limits: {', '.join(outside)}; look for what was different"
    )
    figures = [plain(value, decimals) for value in chart.values]
    return ControlView(
        summary=f"{what}: {finding}. Centre {plain(chart.centre, decimals)} {unit}, limits "
        f"{plain(chart.lower, decimals)} to {plain(chart.upper, decimals)} {unit} (three standard deviations).",
        data={
            "kind": "control",
            "x": {"label": "Session", "unit": ""},
            "y": {"label": label, "unit": unit},
            "series": [{"name": label, "x": days, "y": [round(value, 4) for value in chart.values]}],
            "limits": {
                "centre": round(chart.centre, 4),
                "lower": round(chart.lower, 4),
                "upper": round(chart.upper, 4),
            },
            "outside": list(chart.outside),
        },
        rows=tuple(
            (one, f"{figure} {unit}", "outside" if k in chart.outside else "within")
            for k, (one, figure) in enumerate(zip(days, figures, strict=True))
        ),
    )


def _distinct(names: Sequence[str]) -> list[str]:
    """Two sessions of one day get a number, so that the chart keeps them apart."""
    seen: Counter[str] = Counter()
    found = []
    for name in names:
        seen[name] += 1
        found.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return found


def _last_columns(session: Session, rows: Sequence[DynoSession]) -> tuple[ColumnRow, ...]:
    """The columns of the newest file on this dyno."""
    for row in reversed(rows):
        runs = dyno.runs_of(session, [row.id])[row.id]
        if runs:
            return rows_of(runs[-1].run.columns)
    return ()
