"""What a pull computed from roller speed shows: the sentence, charts and table."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.roller_pull import RollerPull
from app.calc.dyno.rollers import COVERAGE
from app.calc.number_text import plain, rpm
from app.web.units_view import UnitsView

Values = NDArray[np.float64]
MOST_POINTS = 400
TABLE_ROWS = 25


@dataclass(frozen=True, slots=True)
class PowerView:
    """What a pull gave: the sentence, the charts' data, rows of the table."""

    sentence: str
    assumed: str
    no_engine_speed: bool
    power: dict[str, Any]
    torque: dict[str, Any] | None
    rows: tuple[tuple[str, ...], ...]


def power_view(pull: RollerPull, units: UnitsView) -> PowerView:
    power, torque, speed = pull.power, pull.torque_nm, pull.speed_rpm
    top = int(np.argmax(power.power_kw))
    half = COVERAGE * power.power_u_kw
    most = units.text(float(power.power_kw[top]), "power", float(half[top]))
    road = units.text(float(power.speed_ms[top]) * 3.6, "vehicle speed")
    place = road if speed is None else f"{rpm(float(speed[top]))} ({road})"
    x = power.speed_ms * 3.6 if speed is None else speed
    x_axis = {"label": "Engine speed", "unit": "rpm"}
    if speed is None:
        x = np.array([units.show(float(v), "vehicle speed") for v in x])
        x_axis = {"label": "Road speed", "unit": units.symbol("vehicle speed")}
    order = np.argsort(x, kind="stable")
    order = order[:: max(1, -(-order.size // MOST_POINTS))]
    torque_half = None if torque is None else np.abs(torque) * half / np.maximum(np.abs(power.power_kw), 1e-9)
    return PowerView(
        sentence=f"Most power at the roller's surface: {most} (95 %) at {place}.",
        assumed=pull.assumed,
        no_engine_speed=speed is None,
        power=_chart(x_axis, x[order], "Power", "power", power.power_kw[order], half[order], units),
        torque=None
        if torque is None or torque_half is None
        else _chart(x_axis, x[order], "Torque", "torque", torque[order], torque_half[order], units),
        rows=_rows(pull, half, units),
    )


def _chart(
    x_axis: dict[str, str], x: Values, label: str, quantity: str, y: Values, half: Values, units: UnitsView
) -> dict[str, Any]:
    def shown(values: Values) -> list[float | None]:
        return [round(units.show(float(v), quantity), 3) if np.isfinite(v) else None for v in values]

    series = {
        "name": f"{label} with its 95 % interval",
        "x": [round(float(v), 2) for v in x],
        "y": shown(y),
        "low": shown(y - half),
        "high": shown(y + half),
    }
    return {
        "kind": "lines",
        "x": x_axis,
        "y": {"label": label, "unit": units.symbol(quantity), "from_zero": True},
        "series": [series],
    }


def _rows(pull: RollerPull, half: Values, units: UnitsView) -> tuple[tuple[str, ...], ...]:
    power, torque, speed = pull.power, pull.torque_nm, pull.speed_rpm
    rows = []
    for k in np.unique(np.linspace(0, power.time_s.size - 1, TABLE_ROWS).astype(int)):
        turning = "not known" if speed is None else rpm(float(speed[k]))
        known = torque is not None and np.isfinite(torque[k])
        rows.append(
            (
                f"{plain(float(power.time_s[k]), 2)} s",
                units.text(float(power.speed_ms[k]) * 3.6, "vehicle speed"),
                turning,
                units.text(float(power.power_kw[k]), "power", float(half[k])),
                units.text(float(torque[k]), "torque") if known and torque is not None else "not known",
            )
        )
    return tuple(rows)
