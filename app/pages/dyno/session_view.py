"""What a dyno session's page shows."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.correction import STANDARDS, CorrectionFactor
from app.calc.number_text import counted
from app.pages.attribution import Correction
from app.pages.dyno.profile import ColumnRow, rows_of
from app.pages.dyno.session_curve import CurveView, curve_view, level_words
from app.pages.dyno.session_limits import LimitsView, limits_view
from app.pages.dyno.session_raw import cut_words, raw_chart, raw_summary
from app.record import channels, dyno, flashes, gains, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.dyno import RunRecord
from app.record.gains import Side
from app.record.results import build_of
from app.record.tables import DynoSession, Person
from app.web.page import View, day, writing_as
from app.web.units_view import UnitsView


@dataclass(frozen=True, slots=True)
class PullRow:
    """One pull with its decision and what was noticed in its file."""

    id: int
    position: int
    file_name: str
    included: bool
    reason: str
    points: int
    range_rpm: str
    start: str
    level: str
    cut: str
    findings: tuple[str, ...]
    columns: tuple[ColumnRow, ...]


@dataclass(frozen=True, slots=True)
class AttributionRow:
    unit_id: int
    role: str
    on_car: str
    reason: str
    by: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SessionPage:
    id: int
    vehicle_id: int
    vehicle: str
    hybrid: bool
    may_tune: bool
    lead: str
    at: dt.datetime
    dyno: tuple[str, str]
    conditions: tuple[tuple[str, str | None], ...]
    factor: str
    flags: tuple[str, ...]
    curve: CurveView
    limits: LimitsView
    gains: tuple[tuple[str, str], ...]
    no_baseline: str
    pulls: tuple[PullRow, ...]
    attributions: tuple[AttributionRow, ...]
    raw: dict[str, Any] | None
    raw_summary: str
    sentence: str
    correction: Correction | None


def factor_words(factor: CorrectionFactor) -> str:
    """The factor with its range, where humidity leaves one."""
    if factor.standard == "none":
        return "uncorrected"
    spread = "" if factor.low == factor.high else f" (between {factor.low:.4f} and {factor.high:.4f})"
    return f"{STANDARDS[factor.standard]}, factor {factor.factor:.4f}{spread}"


def session_page(
    session: Session,
    session_id: int,
    person: Person,
    view: View,
    *,
    sentence: str = "",
    correction: Correction | None = None,
    wanted: str = "",
) -> SessionPage:
    """A session with its mean curve, its pulls, its channels against the car's limits, and the ways to a gain.

    sentence, correction : why a form was refused, and that form where it corrects an attribution."""
    row = dyno.dyno_session(session, session_id)
    vehicle = vehicles.vehicle(session, row.vehicle_id)
    place = dyno.dyno(session, row.dyno_id)
    runs = dyno.runs_of(session, [row.id])[row.id]
    side = gains.side(session, row, None)
    curve = curve_view(session, side, runs, view.units, wanted)
    levels = level_words(side)
    included = sum(one.included for one in runs)
    offered, no_baseline = _gains(session, row, view) if side.pulls is not None else ((), "")
    return SessionPage(
        id=row.id,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        hybrid=vehicle.hybrid,
        may_tune=person.role != "front_desk",
        lead=_lead(row, included, len(runs), dyno.on_car_words(session, [row.id])[row.id]),
        at=row.measured_at,
        dyno=(place.name, f"/dynos/{place.id}"),
        conditions=_conditions(row, vehicle.hybrid, view.units),
        factor=_factor(side),
        flags=() if side.factor is None else side.factor.flags,
        curve=curve,
        limits=limits_view(session, vehicle.id, runs, view.units),
        gains=offered,
        no_baseline=no_baseline,
        pulls=tuple(_pull(one, levels.get(one.run.position, ""), view.units) for one in runs),
        attributions=_attributions(session, row),
        raw=raw_chart(runs, side, view.units),
        raw_summary=raw_summary(runs, side, view.units),
        sentence=sentence,
        correction=correction,
    )


def _factor(side: Side) -> str:
    if side.by_dyno:
        return f"corrected by the dyno already, as {STANDARDS[side.row.correction_standard]}"
    return (
        f"{STANDARDS[side.row.correction_standard]}, not possible" if side.factor is None else factor_words(side.factor)
    )


def proposed_pair(rows: Sequence[DynoSession]) -> tuple[str, str]:
    """The ids that a gain is proposed between, of sessions newest first: the last one, and before it the last baseline
    that it compares with, else the first session that it does."""
    if not rows:
        return "", ""
    after, *earlier = rows
    alike = [one for one in earlier if not dyno.hindrance(one, after)]
    before = next((one for one in alike if one.purpose == "baseline"), (alike or rows)[-1])
    return str(before.id), str(after.id)


def _gains(session: Session, row: DynoSession, view: View) -> tuple[tuple[tuple[str, str], ...], str]:
    """The gain against the last baseline, and against the session before with something else on the car, of those that
    a gain can be told from; and why none of the baselines is one of them."""
    earlier = [one for one in dyno.sessions_of_vehicle(session, row.vehicle_id) if one.measured_at < row.measured_at]
    baselines = [one for one in earlier if one.purpose == "baseline"]
    hindered = {one.id: dyno.hindrance(one, row) for one in earlier}
    attributed = dyno.attributions(session, [row.id, *(one.id for one in earlier)])
    own = build_of(attributed[row.id])
    found: dict[int, str] = {}
    why = ""
    with writing_as(view):
        baseline = next((one for one in baselines if not hindered[one.id]), None)
        if baseline is not None:
            found[baseline.id] = f"Gain against the baseline of {day(baseline.measured_at)}"
        elif baselines and row.purpose != "baseline":
            last = baselines[0]
            gear = f" in gear {row.gear}" if row.gear else ""
            why = (
                f"These pulls and the baseline of {day(last.measured_at)} do not compare: {hindered[last.id]}. Begin "
                f"with baseline pulls on {dyno.dyno(session, row.dyno_id).name}{gear}."
            )
        for one in earlier:
            if not hindered[one.id] and build_of(attributed[one.id]) != own:
                words = dyno.on_car_words(session, [one.id])[one.id]
                found.setdefault(one.id, f"Gain against {words}, {day(one.measured_at)}")
                break
    return tuple((label, f"/gains?from={one}&to={row.id}") for one, label in found.items()), why


def _lead(row: DynoSession, included: int, total: int, on_car: str) -> str:
    if not included:
        return f"{row.purpose.capitalize()} with {on_car}: no pull counts yet."
    made = counted(total, "pull")
    which = made if included == total else f"{included} of {made}"
    return f"{row.purpose.capitalize()} with {on_car}: {which} {'counts' if included == 1 else 'count'}."


def _conditions(row: DynoSession, hybrid: bool, units: UnitsView) -> tuple[tuple[str, str | None], ...]:
    def text(value: float | None, quantity: str) -> str | None:
        return None if value is None else units.text(value, quantity)

    def plain(value: float | None, unit: str) -> str | None:
        return None if value is None else f"{value:g} {unit}"

    return (
        ("Ambient pressure", text(row.pressure_hpa, "pressure")),
        ("Ambient temperature", text(row.temperature_c, "temperature")),
        ("Relative humidity", plain(row.relative_humidity_percent, "%")),
        ("Gear", row.gear or None),
        ("Drive mode", row.drive_mode or None),
        ("Driven wheels", row.driven_axles or None),
        ("Tyre", row.tyre or None),
        ("Tyre pressure", text(row.tyre_pressure_bar, "tyre pressure")),
        ("Fuel", row.fuel or None),
        ("Coolant at start", text(row.start_coolant_c, "temperature")),
        ("Intake air at start", text(row.start_intake_c, "temperature")),
        *([("State of charge", plain(row.battery_soc_percent, "%"))] if hybrid else []),
        ("Note", row.note or None),
    )


def _pull(one: RunRecord, level: str, units: UnitsView) -> PullRow:
    data = channels.unpack(one.run.channels)
    speed = data.get("engine_speed_rpm")
    known = speed[np.isfinite(speed)] if speed is not None else np.array([])
    start = [
        f"{label} {units.text(value, 'temperature')}"
        for label, value in (("coolant", one.run.start_coolant_c), ("intake", one.run.start_intake_c))
        if value is not None
    ]
    return PullRow(
        one.run.id,
        one.run.position,
        one.run.file_name,
        one.included,
        one.reason,
        len(next(iter(data.values()))),
        f"{known.min():,.0f} to {known.max():,.0f} rpm" if known.size else "no engine speed",
        ", ".join(start) or "not recorded",
        level,
        cut_words(data),
        tuple(str(text) for text in one.run.findings),
        rows_of(one.run.columns),
    )


def _attributions(session: Session, row: DynoSession) -> tuple[AttributionRow, ...]:
    found = dyno.attributions(session, [row.id])[row.id]
    rows = []
    for unit in vehicles.control_units(session, row.vehicle_id):
        options = [("stock", "Stock")]
        options += [(str(r.id), f"Revision {r.number} “{r.title}”") for r in revisions.of_unit(session, unit.id)]
        one = found.get(unit.id)
        words = dict(options)
        rows.append(
            AttributionRow(
                unit.id,
                unit.role,
                "not attributed"
                if one is None
                else words["stock" if one.revision_id is None else str(one.revision_id)],
                "" if one is None else one.reason,
                "" if one is None else flashes.person_name(session, one.by_id),
                tuple(options),
            )
        )
    return tuple(rows)
