"""Curves as tables: every pull, the means, the gain and its band, in SI, with the unit in each heading."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from app.calc.csv_text import Cell
from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain
from app.record.gains import Compared, Side

Values = NDArray[np.float64]
Table = tuple[list[str], Iterator[list[Cell]]]


def gain_table(found: Compared, result: Gain) -> Table:
    """(heading, rows) over the engine speeds that both sessions cover."""
    heading, columns = ["engine_speed_rpm"], [result.speed_rpm]
    for name, mean in (("before", result.before), ("after", result.after)):
        heading += [f"{name}_power_kw", f"{name}_torque_nm"]
        columns += [mean.power_kw, mean.torque_nm]
    nothing = np.full(result.speed_rpm.size, np.nan)
    heading += ["gain_power_kw", "half_width_power_kw", "gain_torque_nm", "half_width_torque_nm"]
    columns += [result.gain_kw, nothing if result.half_kw is None else result.half_kw]
    columns += [result.gain_nm, nothing if result.half_nm is None else result.half_nm]
    low, high = float(result.speed_rpm[0]), float(result.speed_rpm[-1])
    for name, side in (("before", found.before), ("after", found.after)):
        if side.pulls is not None:
            more, values = _single_pulls(side.positions, side.pulls.within(low, high), f"{name}_pull")
            heading, columns = heading + more, columns + values
    return heading, _rows(columns)


def session_table(side: Side, pulls: Pulls) -> Table:
    """(heading, rows) of one session: the mean and every pull that counts, over their common engine speeds."""
    mean = pulls.mean
    heading, columns = _single_pulls(side.positions, pulls, "pull")
    return (
        ["engine_speed_rpm", "mean_power_kw", "mean_torque_nm", *heading],
        _rows([pulls.speed_rpm, mean.power_kw, mean.torque_nm, *columns]),
    )


def _single_pulls(positions: Sequence[int], pulls: Pulls, name: str) -> tuple[list[str], list[Values]]:
    heading, columns = [], []
    for position, power, torque in zip(positions, pulls.power_kw, pulls.torque_nm, strict=True):
        heading += [f"{name}_{position}_power_kw", f"{name}_{position}_torque_nm"]
        columns += [power, torque]
    return heading, columns


def _rows(columns: Sequence[Values]) -> Iterator[list[Cell]]:
    """Six significant digits; an empty cell for what is not known."""
    for row in zip(*columns, strict=True):
        yield [float(f"{value:.6g}") if np.isfinite(value) else None for value in row]
