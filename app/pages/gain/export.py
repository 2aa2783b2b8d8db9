"""Curves as rows of a table: every pull, the means, the gain and its band, in SI, with the unit in each heading."""

from collections.abc import Iterator

import numpy as np

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain
from app.record.gains import Compared, Side


def gain_table(found: Compared, result: Gain) -> Iterator[list[str]]:
    """Rows over the engine speeds that both sessions cover, the heading first."""
    sides = [(name, side, _cut(side, result)) for name, side in (("before", found.before), ("after", found.after))]
    heading = ["engine_speed_rpm"]
    columns = [result.speed_rpm]
    for name, mean in (("before", result.before), ("after", result.after)):
        heading += [f"{name}_power_kw", f"{name}_torque_nm"]
        columns += [mean.power_kw, mean.torque_nm]
    nothing = np.full(result.speed_rpm.size, np.nan)
    heading += ["gain_power_kw", "half_width_power_kw", "gain_torque_nm", "half_width_torque_nm"]
    columns += [result.gain_kw, nothing if result.half_kw is None else result.half_kw]
    columns += [result.gain_nm, nothing if result.half_nm is None else result.half_nm]
    for name, side, pulls in sides:
        for position, power, torque in zip(side.positions, pulls.power_kw, pulls.torque_nm, strict=True):
            heading += [f"{name}_pull_{position}_power_kw", f"{name}_pull_{position}_torque_nm"]
            columns += [power, torque]
    yield heading
    for row in zip(*columns, strict=True):
        yield [_number(value) for value in row]


def session_table(side: Side) -> Iterator[list[str]]:
    """Rows of one session: mean and every pull that counts over their common engine speeds."""
    assert side.pulls is not None
    heading = ["engine_speed_rpm", "mean_power_kw", "mean_torque_nm"]
    mean = side.pulls.mean
    columns = [side.pulls.speed_rpm, mean.power_kw, mean.torque_nm]
    for position, power, torque in zip(side.positions, side.pulls.power_kw, side.pulls.torque_nm, strict=True):
        heading += [f"pull_{position}_power_kw", f"pull_{position}_torque_nm"]
        columns += [power, torque]
    yield heading
    for row in zip(*columns, strict=True):
        yield [_number(value) for value in row]


def _cut(side: Side, result: Gain) -> Pulls:
    assert side.pulls is not None
    return side.pulls.within(float(result.speed_rpm[0]), float(result.speed_rpm[-1]))


def _number(value: float) -> str:
    """Six significant digits; an empty cell for what is not known."""
    return f"{value:.6g}" if np.isfinite(value) else ""
