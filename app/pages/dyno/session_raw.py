"""The pulls of a session as they were recorded, with the part of each that its curve is made from."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import sweep_rows
from app.calc.number_text import rpm
from app.errors import BadInput
from app.record import channels, gains
from app.record.dyno import RunRecord
from app.record.gains import Side
from app.web.units_view import UnitsView

Values = NDArray[np.float64]
MAX_POINTS = 400
LEFT_OUT = "Left out of the curves"


def cut_words(data: Mapping[str, Values]) -> str:
    """Where the sweep of a pull begins and ends, and what was cut; empty when no sweep is found."""
    try:
        kept, cut = sweep_rows(data)
    except BadInput:
        return ""
    speed = data["engine_speed_rpm"][kept]
    return f"The curve is made from {np.nanmin(speed):,.0f} to {rpm(float(np.nanmax(speed)))}: {cut}."


def raw_chart(runs: Sequence[RunRecord], side: Side, units: UnitsView) -> dict[str, Any] | None:
    """Power of every pull as recorded, thinned to what a screen can show; the start and the lift-off dotted."""
    series: list[dict[str, Any]] = []
    x_out: list[float | None] = []
    y_out: list[float | None] = []
    for one in runs:
        data = channels.unpack(one.run.channels)
        if "power_kw" not in data or "engine_speed_rpm" not in data:
            continue
        speed, power = data["engine_speed_rpm"], data["power_kw"]
        kept = _kept(data)
        x, y = _thinned(speed[kept], power[kept], units)
        name = f"Pull {one.run.position}" + ("" if one.included else " (excluded)")
        series.append({"name": name, "x": x, "y": y, "dash": None if one.included else "dash"})
        # One sample more on either side, so that what is left out joins what is kept.
        for part in (slice(0, kept.start + 1), slice(kept.stop - 1, None)):
            x, y = _thinned(speed[part], power[part], units)
            if len(x) > 1:
                x_out += [*x, None]
                y_out += [*y, None]
    if not series:
        return None
    if x_out:
        series.append({"name": LEFT_OUT, "x": x_out, "y": y_out, "dash": "dot", "role": "left"})
    return {
        "kind": "lines",
        "x": {"label": "Engine speed", "unit": "rpm"},
        "y": {"label": f"Power {gains.place_words([side])}", "unit": units.symbol("power"), "from_zero": True},
        "series": series,
    }


def _kept(data: Mapping[str, Values]) -> slice:
    try:
        return sweep_rows(data)[0]
    except BadInput:
        return slice(0, len(data["engine_speed_rpm"]))


def _thinned(speed: Values, power: Values, units: UnitsView) -> tuple[list[float], list[float]]:
    good = np.isfinite(speed) & np.isfinite(power)
    step = max(1, int(good.sum()) // MAX_POINTS)
    shown = [round(units.show(float(v), "power"), 3) for v in power[good][::step]]
    return [round(float(v), 1) for v in speed[good][::step]], shown


def raw_summary(runs: Sequence[RunRecord], side: Side, units: UnitsView) -> str:
    """The peaks of the pulls that count, before any correction of ours."""
    how = "as recorded, corrected by the dyno" if side.by_dyno else "as recorded, uncorrected"
    peaks = []
    for one in runs:
        data = channels.unpack(one.run.channels)
        if one.included and "power_kw" in data and np.isfinite(data["power_kw"]).any():
            peaks.append(float(np.nanmax(data["power_kw"])))
    if not peaks:
        return "No pull counts yet."
    if len(peaks) == 1:
        return f"Peak {units.text(peaks[0], 'power')} {how}."
    return (
        f"Peaks between {units.text(min(peaks), 'power')} and {units.text(max(peaks), 'power')} in {len(peaks)} "
        f"pulls, {how}."
    )
