"""The mean curve of a session with its band, how well its pulls repeat, and what that resolves."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import History
from app.calc.dyno.mean_band import MeanBand, mean_band
from app.calc.dyno.planning import Limit, pulls_needed, resolvable_kw, student
from app.calc.dyno.repeatability import Repeatability, repeatability
from app.calc.dyno.settling import follows, standing_apart
from app.calc.dyno.simultaneous import planned_threshold
from app.calc.number_text import counted, plain, rpm
from app.errors import BadInput
from app.pages.gain.charts import mean_of, pulls_of
from app.pages.gain.words import Quantity
from app.record import dyno_curves, gains
from app.record.dyno import RunRecord
from app.record.gains import Side
from app.web.form import read_number
from app.web.units_view import UnitsView


@dataclass(frozen=True, slots=True)
class RepeatView:
    """Figures of repeatability in words; `history` is a sentence on the dyno's own."""

    sentence: str
    facts: tuple[tuple[str, str], ...]
    history: str
    planning: str
    wanted: str
    answer: str
    error: str


@dataclass(frozen=True, slots=True)
class CurveView:
    """The mean curve: chart, its table, and what was noticed."""

    chart: dict[str, Any] | None
    summary: str
    rows: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...]
    repeat: RepeatView | None


def curve_view(session: Session, side: Side, runs: Sequence[RunRecord], units: UnitsView, wanted: str) -> CurveView:
    """What can be told of the pulls that count; a side without pulls gives its refusal as a warning."""
    refused = tuple(f"Pull {position} gives no curve: {text}" for position, text in side.left_out if _is_refusal(text))
    if side.pulls is None:
        text = side.refusal.partition(": ")[2] or side.refusal
        return CurveView(None, text, (), refused, None)
    row = side.row
    history = dyno_curves.history(session, row.dyno_id, leave_out=[row.id], until=row.measured_at)
    band = mean_band(side.pulls, history=history)
    found = repeatability(side.pulls)
    quantity = Quantity("power", "Power", units)
    return CurveView(
        chart=_chart(side, band, quantity),
        summary=_summary(side.pulls, band, units),
        rows=_rows(side.pulls, band, units),
        warnings=(*refused, *_warnings(side, found, history, runs, units)),
        repeat=_repeat(side.pulls, found, history, units, wanted),
    )


def level_words(side: Side) -> dict[int, str]:
    """Position of a pull → how its level lies against the mean of the others and itself."""
    if side.pulls is None or side.pulls.count < 2:
        return {}
    levels = repeatability(side.pulls).level_percent
    return {
        position: f"{plain(level, 2, sign=True)} % from the mean"
        for position, level in zip(side.positions, levels, strict=True)
    }


def _is_refusal(text: str) -> bool:
    return "pull was found" in text or "no engine speed" in text or "neither torque nor power" in text


def _chart(side: Side, band: MeanBand, quantity: Quantity) -> dict[str, Any]:
    assert side.pulls is not None
    mean = mean_of(side, quantity, "Mean power", {"role": "after"})
    if band.half_kw is not None:
        power = side.pulls.mean.power_kw
        mean |= {"low": quantity.shown(power - band.half_kw), "high": quantity.shown(power + band.half_kw)}
    of_torque = Quantity("torque", "Torque", quantity.units)
    torque = mean_of(side, of_torque, "Mean torque", {"axis": "y2", "pen": 1})
    if band.half_nm is not None:
        mean_nm = side.pulls.mean.torque_nm
        torque |= {"low": of_torque.shown(mean_nm - band.half_nm), "high": of_torque.shown(mean_nm + band.half_nm)}
    return {
        "kind": "lines",
        "x": {"label": "Engine speed", "unit": "rpm"},
        "y": {"label": f"Power {gains.place_words([side])}", "unit": quantity.unit, "from_zero": True},
        "y2": {"label": "Torque", "unit": quantity.units.symbol("torque"), "from_zero": True},
        "series": [
            *pulls_of(side, quantity, "after", "Power"),
            mean,
            torque,
        ],
    }


def _summary(pulls: Pulls, band: MeanBand, units: UnitsView) -> str:
    mean = pulls.mean
    at, most = int(np.argmax(mean.power_kw)), int(np.argmax(mean.torque_nm))
    half_kw = None if band.half_kw is None else float(band.half_kw[at])
    half_nm = None if band.half_nm is None else float(band.half_nm[most])
    sentence = (
        f"Mean of {counted(pulls.count, 'pull')}: "
        f"{units.text(float(mean.power_kw[at]), 'power', half_kw)} at {rpm(float(mean.speed_rpm[at]))}, "
        f"{units.text(float(mean.torque_nm[most]), 'torque', half_nm)} at {rpm(float(mean.speed_rpm[most]))}."
    )
    if band.half_kw is None:
        return sentence + " One pull has no band: nothing tells how well it repeats."
    source = "these pulls and the dyno's history" if band.used_history else "these pulls alone"
    return sentence + f" The band covers the whole mean curve at once with 95 % confidence, from {source}."


def _rows(pulls: Pulls, band: MeanBand, units: UnitsView) -> tuple[tuple[str, ...], ...]:
    """The mean curve every 250 rpm: speed, power ± half width, torque ± half width."""
    mean = pulls.mean
    first, last = float(mean.speed_rpm[0]), float(mean.speed_rpm[-1])
    rows = []
    for k in range(ceil(first / 250), int(last // 250) + 1):
        at = int(np.argmin(np.abs(mean.speed_rpm - 250 * k)))
        half_kw = None if band.half_kw is None else float(band.half_kw[at])
        half_nm = None if band.half_nm is None else float(band.half_nm[at])
        power = units.text(float(mean.power_kw[at]), "power", half_kw)
        rows.append((rpm(250.0 * k), power, units.text(float(mean.torque_nm[at]), "torque", half_nm)))
    return tuple(rows)


def _warnings(
    side: Side, found: Repeatability, history: History | None, runs: Sequence[RunRecord], units: UnitsView
) -> list[str]:
    """Trend over the order, conditions that the level follows, a pull that stands apart: said, never acted on."""
    told = []
    if found.trend_p is not None and found.trend_percent_per_pull is not None and found.trend_p < 0.05:
        direction = "fall" if found.trend_percent_per_pull < 0 else "rise"
        cause = "heat soak" if direction == "fall" else "a car that was not yet warm"
        told.append(
            f"The pulls {direction} by {plain(abs(found.trend_percent_per_pull), 2)} % from one to the next: {cause}, "
            "or a battery that drains or charges. Let the car settle between pulls."
        )
    for one in follows(found.level_percent, _at_start(side, runs, units)) if found.count > 1 else ():
        unit = "%" if "charge" in one.condition else units.symbol("temperature")
        direction = "falls" if one.slope < 0 else "rises"
        told.append(
            f"Power {direction} with the {one.condition} by {plain(abs(one.slope), 2)} % per {unit} (p = {one.p:.3f}): "
            "start the pulls at the same value."
        )
    apart = standing_apart(found.level_percent, history) if found.count > 1 else None
    if apart is not None:
        told.append(
            f"Pull {side.positions[apart]} stands apart from the others by more than this dyno's history explains. "
            "Look for the cause; exclude it only with a reason."
        )
    return told


def _at_start(side: Side, runs: Sequence[RunRecord], units: UnitsView) -> dict[str, list[float | None]]:
    """Conditions at the start of each pull that counts, in the reader's units."""
    by_position = {one.run.position: one.run for one in runs}
    included = [by_position[position] for position in side.positions]

    def shown(value: float | None) -> float | None:
        return None if value is None else units.show(value, "temperature")

    return {
        "coolant at start": [shown(run.start_coolant_c) for run in included],
        "intake air at start": [shown(run.start_intake_c) for run in included],
        "state of charge at start": [run.battery_soc_percent for run in included],
    }


def _repeat(
    pulls: Pulls, found: Repeatability, history: History | None, units: UnitsView, wanted: str
) -> RepeatView | None:
    past = "No earlier session of this dyno tells its repeatability yet."
    peak = float(pulls.mean.power_kw.max())
    if history is not None:
        usual = units.text(sqrt(history.variance) * peak, "power")
        past = (
            f"Earlier on this dyno: {counted(history.sessions, 'session')}, standard "
            f"deviation of one pull {usual} at this power."
        )
    spread = found.spread
    if spread is None and history is None:
        return RepeatView(found.sentence, (), past, "", wanted, "", "")
    dof = (0 if spread is None else spread.dof) + (0 if history is None else history.dof)
    variance = (
        (0.0 if spread is None else spread.dof * (spread.level_variance + spread.shape_variance))
        + (0.0 if history is None else history.dof * history.variance)
    ) / dof
    sd = sqrt(variance) * peak
    limit = _limit(pulls, found, history)
    answer, error = _answer(sd, limit, units, wanted)
    usable = max(2, found.count)
    resolved = units.text(resolvable_kw(sd, usable, limit=limit), "power")
    return RepeatView(
        sentence=_sentence(found, units),
        facts=_facts(found, units),
        history=past,
        planning=f"With {usable} pulls before and {usable} after, a gain of {resolved} at the peak passes the band of "
        "the whole curve, and so is proven, in about 8 of 10 cases.",
        wanted=wanted,
        answer=answer,
        error=error,
    )


def _limit(pulls: Pulls, found: Repeatability, history: History | None) -> Limit:
    """The band that a gain has to leave, as wide as sessions like this one would make it."""
    structure = None if found.spread is None else found.spread.structure

    def limit(count: int) -> tuple[float, float]:
        planned = planned_threshold(structure, history, points=pulls.speed_rpm.size, pulls=count)
        return student()(count) if planned is None else planned

    return limit


def _answer(sd_kw: float, limit: Limit, units: UnitsView, wanted: str) -> tuple[str, str]:
    """(answer, error) to how many pulls resolve a wanted gain, typed in the reader's unit."""
    try:
        typed = read_number(wanted, field="resolve", label="Gain to resolve")
        if typed is None:
            return "", ""
        if typed <= 0:
            raise BadInput("The gain to resolve must be above zero.", field="resolve")
        needed = pulls_needed(sd_kw, units.read(typed, "power"), limit=limit)
    except BadInput as error:
        return "", error.sentence
    size = f"{wanted.strip()} {units.symbol('power')}"
    if needed is None:
        return f"More than 50 pulls each would be needed to resolve {size}: look for what makes the pulls scatter.", ""
    return f"{needed} pulls before and {needed} after prove {size} at the peak in about 8 of 10 cases.", ""


def _sentence(found: Repeatability, units: UnitsView) -> str:
    if found.r_kw is None:
        return found.sentence
    return (
        f"{found.count} pulls repeat to r = {units.text(found.r_kw, 'power')} at the peak: two such pulls differ by "
        "less in 95 of 100 cases."
    )


def _facts(found: Repeatability, units: UnitsView) -> tuple[tuple[str, str], ...]:
    def percent(value: float | None) -> str:
        return "needs two pulls" if value is None else f"{plain(value, 2)} %"

    trend = "needs three pulls"
    if found.trend_percent_per_pull is not None and found.trend_p is not None:
        proven = "proven" if found.trend_p < 0.05 else "not proven"
        trend = f"{plain(found.trend_percent_per_pull, 2, sign=True)} % per pull, {proven}"
    return (
        ("Level: whole pulls higher or lower, s", percent(found.s_level_percent)),
        ("Shape: changes along the curve, s", percent(found.s_shape_percent)),
        (
            "Repeatability standard deviation",
            "needs two pulls" if found.s_r_kw is None else units.text(found.s_r_kw, "power", decimals=2),
        ),
        ("Repeatability limit r = 2.8 s", "needs two pulls" if found.r_kw is None else units.text(found.r_kw, "power")),
        ("Trend from pull to pull", trend),
    )
