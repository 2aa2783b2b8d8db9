"""The logged channels of a session against the car's limits: a table, and a chart per channel."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.channel_names import CHANNEL_NAMES, channel_label
from app.calc.dyno.curve import in_sweep
from app.calc.dyno.limits import ENGINE_SPEED, LOAD, Array, LimitFinding, LimitSummary, check_limits
from app.calc.number_text import counted, plain, rpm
from app.pages.limits import bound_words, limit_words, load_words, region_words
from app.record import channels, limits, vehicles
from app.record.dyno import RunRecord
from app.record.tables import VehicleLimit
from app.web.units_view import UnitsView

MOST_POINTS = 800
LOAD_STEP_RPM = 25.0  # how finely the ends of a region of load are drawn
Pull = tuple[int, Mapping[str, Array]]


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit over the pulls that count."""

    what: str
    region: str
    state: str
    word: str
    first: str
    worst: str
    pulls: str
    note: str


@dataclass(frozen=True, slots=True)
class LimitChart:
    id: str
    title: str
    summary: str
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class LimitsView:
    sentence: str
    rows: tuple[LimitRow, ...]
    charts: tuple[LimitChart, ...]


def limits_view(session: Session, vehicle_id: int, runs: Sequence[RunRecord], units: UnitsView) -> LimitsView:
    """Every limit in force on every pull that counts, within its full-load sweep."""
    rows = vehicles.limits(session, vehicle_id)
    pulls = [(one.run.position, in_sweep(channels.unpack(one.run.channels))) for one in runs if one.included]
    if not rows:
        return LimitsView(
            "No limit is set for this car: nothing here says that its channels are within bounds.", (), ()
        )
    if not pulls:
        return LimitsView("No pull counts yet; limits are checked on every one that does.", (), ())
    checked = check_limits([limits.to_check(row) for row in rows], [(str(position), data) for position, data in pulls])
    by_limit = {limits.to_check(row): row for row in rows}
    return LimitsView(
        _sentence(checked),
        tuple(_row(one, by_limit[one.limit], units) for one in checked),
        tuple(
            _chart(channel, rows, pulls, units)
            for channel in dict.fromkeys(row.channel for row in rows)
            if _seen(channel, pulls)
        ),
    )


def _sentence(checked: Sequence[LimitSummary]) -> str:
    crossed = sum(one.state == "crossed" for one in checked)
    unseen = sum(one.state == "not observed" for one in checked)
    parts = [
        f"{crossed} of {counted(len(checked), 'limit')} crossed"
        if crossed
        else "No limit crossed where it was observed"
    ]
    if unseen:
        parts.append(f"{unseen} not observed, because no pull carries the channel there")
    return "; ".join(parts) + "."


def _row(one: LimitSummary, row: VehicleLimit, units: UnitsView) -> LimitRow:
    crossed = [f for f in one.findings if f.state == "crossed"]
    seen = [f for f in one.findings if f.state != "not observed"]
    states = {"crossed": "danger" if row.severity == "stop" else "attention", "within": "ok", "not observed": "unknown"}
    return LimitRow(
        what=limit_words(row.channel, row.bound, row.value, units),
        region=region_words(row),
        state=states[one.state],
        word=one.state,
        first=_first(crossed),
        worst=_worst(seen, row, units),
        pulls=_pulls(one, crossed, seen),
        note=row.note,
    )


def _first(crossed: Sequence[LimitFinding]) -> str:
    known = [(f.first_speed_rpm, f) for f in crossed if f.first_speed_rpm is not None]
    if not known:
        return "–"
    speed, finding = min(known, key=lambda pair: pair[0])
    lasted = "" if finding.duration_s is None else f", for {plain(finding.duration_s, 2)} s"
    return f"{rpm(speed)} in pull {finding.pull}{lasted}"


def _worst(seen: Sequence[LimitFinding], row: VehicleLimit, units: UnitsView) -> str:
    """The value nearest to or furthest beyond the bound."""
    known = [(f.worst_value, f) for f in seen if f.worst_value is not None]
    if not known:
        return "–"
    value, finding = (max if row.bound == "max" else min)(known, key=lambda pair: pair[0])
    name = CHANNEL_NAMES.get(row.channel)
    shown = f"{value:.4g}" if name is None else units.text(value, name.quantity)
    where = "" if finding.worst_speed_rpm is None else f" at {rpm(finding.worst_speed_rpm)}"
    return f"{shown}{where} in pull {finding.pull}"


def _pulls(one: LimitSummary, crossed: Sequence[LimitFinding], seen: Sequence[LimitFinding]) -> str:
    if crossed:
        return f"crossed in {', '.join(f.pull for f in crossed)}; seen in {len(seen)} of {len(one.findings)}"
    return f"seen in {len(seen)} of {len(one.findings)}" if seen else "in none"


def _seen(channel: str, pulls: Sequence[Pull]) -> bool:
    return any(channel in data and "engine_speed_rpm" in data for _, data in pulls)


def _where(row: VehicleLimit, pulls: Sequence[Pull], ends: list[float]) -> tuple[list[float], list[bool]]:
    """Engine speeds, and whether the limit holds there: with a region of load, where any pull's load lies in it."""
    loaded = [data for _, data in pulls if LOAD in data and ENGINE_SPEED in data]
    if (row.load_lo_percent is None and row.load_hi_percent is None) or not loaded:
        return ends, [True, True]
    at = np.append(np.arange(ends[0], ends[1], LOAD_STEP_RPM), ends[1])
    holds = np.zeros(at.size, bool)
    for data in loaded:
        good = np.isfinite(data[LOAD]) & np.isfinite(data[ENGINE_SPEED])
        speed, load = data[ENGINE_SPEED][good], data[LOAD][good]
        if not speed.size:
            continue
        order = np.argsort(speed, kind="stable")
        value = np.interp(at, speed[order], load[order], left=np.nan, right=np.nan)
        low = -np.inf if row.load_lo_percent is None else row.load_lo_percent
        high = np.inf if row.load_hi_percent is None else row.load_hi_percent
        holds |= (value >= low) & (value <= high)
    return [round(float(one), 1) for one in at], [bool(one) for one in holds]


def _chart(channel: str, rows: Sequence[VehicleLimit], pulls: Sequence[Pull], units: UnitsView) -> LimitChart:
    name = CHANNEL_NAMES.get(channel)
    quantity = None if name is None else name.quantity

    def shown(value: float) -> float:
        return round(value if quantity is None else units.show(value, quantity), 4)

    series: list[dict[str, Any]] = []
    speeds: list[float] = []
    for position, data in pulls:
        if channel not in data or "engine_speed_rpm" not in data:
            continue
        good = np.isfinite(data[channel]) & np.isfinite(data["engine_speed_rpm"])
        step = max(1, -(-int(good.sum()) // MOST_POINTS))
        x = [round(float(v), 1) for v in data["engine_speed_rpm"][good][::step]]
        speeds += x
        series.append({"name": f"Pull {position}", "x": x, "y": [shown(float(v)) for v in data[channel][good][::step]]})
    low, high = min(speeds, default=0.0), max(speeds, default=0.0)
    for row in rows:
        if row.channel == channel:
            ends = [
                low if row.speed_lo_rpm is None else row.speed_lo_rpm,
                high if row.speed_hi_rpm is None else row.speed_hi_rpm,
            ]
            words = ", ".join(filter(None, (bound_words(row.channel, row.bound, row.value, units), load_words(row))))
            said = words[:1].upper() + words[1:]
            at, holds = _where(row, pulls, ends)
            y = [shown(row.value) if one else None for one in holds]
            series.append({"name": said, "x": at, "y": y, "role": "limit"})
    label = channel_label(channel)
    unit = "" if quantity is None else units.symbol(quantity)
    return LimitChart(
        id=f"limit-{channel.replace('_', '-').strip('-')}",
        title=f"{label} against its limit",
        summary=f"{label} of each pull that carries it, over engine speed; the limit only where it holds.",
        data={
            "kind": "lines",
            "x": {"label": "Engine speed", "unit": "rpm"},
            "y": {"label": label, "unit": unit},
            "series": series,
        },
    )
