"""The chart of a gain: both curves above with their pulls, the gain with its band below."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain
from app.pages.gain.words import Quantity
from app.record.gains import Compared, Side

MOST_POINTS = 2000
Values = NDArray[np.float64]


def _values(pulls: Pulls, quantity: Quantity) -> Values:
    return pulls.power_kw if quantity.name == "power" else pulls.torque_nm


def _thin(values: Sequence[float]) -> list[float]:
    """At most what a screen can show; the curves are on a grid of 25 rpm and rarely need it."""
    step = -(-len(values) // MOST_POINTS)
    return list(values[::step])


def pulls_of(side: Side, quantity: Quantity, role: str, name: str) -> list[dict[str, Any]]:
    """Every pull that counts as a thin line."""
    if side.pulls is None:
        return []
    x = _thin([float(v) for v in side.pulls.speed_rpm])
    return [
        {"name": f"{name}, pull {position}", "x": x, "y": _thin(quantity.shown(row)), "role": "pull", "of": role}
        for position, row in zip(side.positions, _values(side.pulls, quantity), strict=True)
    ]


def mean_of(side: Side, quantity: Quantity, name: str, look: dict[str, Any]) -> dict[str, Any]:
    """The mean curve of a side over its own whole range; `look` is its role or pen."""
    assert side.pulls is not None
    mean = _values(side.pulls, quantity).mean(axis=0)
    x = _thin([float(v) for v in side.pulls.speed_rpm])
    return {"name": name, "x": x, "y": _thin(quantity.shown(mean)), **look}


def gain_series(result: Gain, quantity: Quantity, name: str, look: dict[str, Any]) -> dict[str, Any]:
    """The gain with its band, where there is one."""
    change, half = quantity.curve(result)
    series: dict[str, Any] = {
        "name": name,
        "x": _thin([float(v) for v in result.speed_rpm]),
        "y": _thin(quantity.shown(change)),
        **look,
    }
    if half is not None and np.isfinite(half).all():
        series |= {"low": _thin(quantity.shown(change - half)), "high": _thin(quantity.shown(change + half))}
    return series


def gain_chart(
    found: Compared, names: tuple[str, str], others: Sequence[tuple[str, Compared]], quantity: Quantity, place: str
) -> dict[str, Any]:
    """Before and after, and any further sessions told against the same before."""
    assert found.result is not None
    above = [
        *pulls_of(found.before, quantity, "before", names[0]),
        *pulls_of(found.after, quantity, "after", names[1]),
        mean_of(found.before, quantity, names[0], {"role": "before"}),
        mean_of(found.after, quantity, names[1], {"role": "after"}),
    ]
    below = [gain_series(found.result, quantity, names[1], {"role": "after"})]
    # The first own colour is that of "after".
    for pen, (name, other) in enumerate(others, start=1):
        if other.result is not None:
            above.append(mean_of(other.after, quantity, name, {"pen": pen}))
            below.append(gain_series(other.result, quantity, name, {"pen": pen}))
    return {
        "kind": "gain",
        "x": {"label": "Engine speed", "unit": "rpm"},
        "y": {"label": f"{quantity.label} {place}", "unit": quantity.unit},
        "series": above,
        "gain": {"label": "Gain", "unit": quantity.unit, "series": below},
    }
