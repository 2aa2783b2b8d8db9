"""What a dyno session's page shows."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.atmosphere import Conditions
from app.calc.dyno.correction import BOOST_CAUTION, STANDARDS, CorrectionFactor, correction
from app.record import channels, dyno, flashes, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.dyno import RunRecord
from app.record.tables import DynoSession
from app.web.units_view import UnitsView

MAX_POINTS = 400


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
    findings: tuple[str, ...]


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
    lead: str
    at: dt.datetime
    dyno: tuple[str, str]
    conditions: tuple[tuple[str, str | None], ...]
    factor: str
    flags: tuple[str, ...]
    caution: str
    pulls: tuple[PullRow, ...]
    attributions: tuple[AttributionRow, ...]
    chart: dict[str, Any] | None
    chart_summary: str
    sentence: str


def factor_of(row: DynoSession) -> CorrectionFactor:
    """The correction factor of the session's own air and standard."""
    if row.correction_standard == "none" or row.pressure_hpa is None or row.temperature_c is None:
        return CorrectionFactor("none", 1.0, 1.0, 1.0, True, ())
    air = Conditions(row.pressure_hpa, row.temperature_c, row.relative_humidity_percent)
    return correction(row.correction_standard, air)


def factor_words(factor: CorrectionFactor) -> str:
    """The factor with its range, where humidity leaves one."""
    if factor.standard == "none":
        return "uncorrected"
    spread = "" if factor.low == factor.high else f" (between {factor.low:.4f} and {factor.high:.4f})"
    return f"{STANDARDS[factor.standard]}, factor {factor.factor:.4f}{spread}"


def session_page(session: Session, session_id: int, units: UnitsView, sentence: str) -> SessionPage:
    """A session with its pulls as recorded."""
    row = dyno.dyno_session(session, session_id)
    vehicle = vehicles.vehicle(session, row.vehicle_id)
    place = dyno.dyno(session, row.dyno_id)
    runs = dyno.runs_of(session, [row.id])[row.id]
    factor = factor_of(row)
    chart = _chart(runs, units)
    included = sum(one.included for one in runs)
    return SessionPage(
        id=row.id,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        hybrid=vehicle.hybrid,
        lead=_lead(row, included, len(runs), dyno.on_car_words(session, [row.id])[row.id]),
        at=row.measured_at,
        dyno=(place.name, f"/dynos/{place.id}"),
        conditions=_conditions(row, units),
        factor=factor_words(factor),
        flags=factor.flags,
        caution=BOOST_CAUTION if vehicle.boosted and row.correction_standard != "none" else "",
        pulls=tuple(_pull(one, units) for one in runs),
        attributions=_attributions(session, row),
        chart=chart,
        chart_summary=_summary(runs, units),
        sentence=sentence,
    )


def _lead(row: DynoSession, included: int, total: int, on_car: str) -> str:
    counted = f"{total} {'pull' if total == 1 else 'pulls'}" if included == total else f"{included} of {total} pulls"
    return f"{row.purpose.capitalize()} with {on_car}: {counted} count."


def _conditions(row: DynoSession, units: UnitsView) -> tuple[tuple[str, str | None], ...]:
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
        ("Tyre pressure", plain(row.tyre_pressure_bar, "bar")),
        ("Fuel", row.fuel or None),
        ("Coolant at start", text(row.start_coolant_c, "temperature")),
        ("Intake air at start", text(row.start_intake_c, "temperature")),
        ("State of charge", plain(row.battery_soc_percent, "%")),
        ("Note", row.note or None),
    )


def _pull(one: RunRecord, units: UnitsView) -> PullRow:
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
        tuple(str(text) for text in one.run.findings),
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


def _chart(runs: list[RunRecord], units: UnitsView) -> dict[str, Any] | None:
    """Power of every pull as recorded, thinned to what a screen can show."""
    series = []
    for one in runs:
        data = channels.unpack(one.run.channels)
        if "power_kw" not in data or "engine_speed_rpm" not in data:
            continue
        step = max(1, len(data["power_kw"]) // MAX_POINTS)
        good = np.isfinite(data["power_kw"]) & np.isfinite(data["engine_speed_rpm"])
        x, y = data["engine_speed_rpm"][good][::step], data["power_kw"][good][::step]
        name = f"Pull {one.run.position}" + ("" if one.included else " (excluded)")
        shown = [round(units.show(float(v), "power"), 3) for v in y]
        series.append(
            {"name": name, "x": [round(float(v), 1) for v in x], "y": shown, "dash": None if one.included else "dot"}
        )
    if not series:
        return None
    return {
        "kind": "lines",
        "x": {"label": "Engine speed", "unit": "rpm"},
        "y": {"label": "Power at the wheels", "unit": units.symbol("power"), "from_zero": True},
        "series": series,
    }


def _summary(runs: list[RunRecord], units: UnitsView) -> str:
    peaks = []
    for one in runs:
        data = channels.unpack(one.run.channels)
        if one.included and "power_kw" in data:
            peaks.append(float(np.nanmax(data["power_kw"])))
    if not peaks:
        return "No pull counts yet."
    if len(peaks) == 1:
        return f"Peak {units.text(peaks[0], 'power')} as recorded, uncorrected."
    return (
        f"Peaks between {units.text(min(peaks), 'power')} and {units.text(max(peaks), 'power')} "
        f"in {len(peaks)} pulls, as recorded, uncorrected."
    )
