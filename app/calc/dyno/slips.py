"""Rows that cannot be right: power, torque and engine speed that contradict each other, and typing slips.

P = T·ω holds exactly for every row of every pull. A row that breaks it while its neighbours keep it was damaged on
the way here, most often by one mistyped digit.
"""

from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

RAD_PER_S = np.pi / 30.0
DISAGREEMENT = 0.005
_LEAST_DEPARTURE = 0.02
_NOISE_FACTOR = 8.0

Quantity = Literal["engine_speed_rpm", "torque_nm", "power_kw"]
_LABEL = {"engine_speed_rpm": "engine speed", "torque_nm": "torque", "power_kw": "power"}
_UNIT = {"engine_speed_rpm": "rpm", "torque_nm": "N·m", "power_kw": "kW"}


@dataclass(frozen=True, slots=True)
class Slip:
    """One doubtful row: its index, the quantity that is off, what stands there, what its neighbours suggest.

    `instead` is the number that one changed digit, two swapped digits or a moved decimal sign would give and that
    fits the neighbours; None when there is no such number.
    """

    row: int
    quantity: Quantity
    value: float
    expected: float
    instead: float | None

    @property
    def sentence(self) -> str:
        unit, label = _UNIT[self.quantity], _LABEL[self.quantity]
        meant = f"; {self.instead:g} was probably meant" if self.instead is not None else ""
        return f"The {label} {self.value:g} {unit} does not fit: {self.expected:.4g} {unit} is expected here{meant}."


def power_kw(torque_nm: NDArray[np.float64], engine_speed_rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """P = T·ω.

    >>> float(power_kw(np.array([400.0]), np.array([5500.0])).round(6)[0])
    230.383461
    """
    return torque_nm * engine_speed_rpm * (RAD_PER_S / 1000.0)


def torque_nm(power_kw: NDArray[np.float64], engine_speed_rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """T = P/ω; NaN where the engine does not turn."""
    turning = np.where(engine_speed_rpm > 0, engine_speed_rpm, np.nan)
    return power_kw * 1000.0 / (turning * RAD_PER_S)


def disagreement(
    engine_speed_rpm: NDArray[np.float64], torque: NDArray[np.float64], power: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Power over torque × speed, less one, row by row; NaN where it says nothing (near zero or missing)."""
    by_torque = power_kw(torque, engine_speed_rpm)
    floor = 0.02 * np.nanmax(np.abs(by_torque), initial=0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        larger = np.maximum(np.abs(by_torque), np.abs(power))
        return np.where((larger > floor) & (by_torque != 0), power / by_torque - 1.0, np.nan)


def find_slips(
    engine_speed_rpm: NDArray[np.float64],
    torque: NDArray[np.float64] | None,
    power: NDArray[np.float64] | None,
) -> tuple[Slip, ...]:
    """Rows of one pull, in the order recorded, where one quantity departs from its neighbours.

    With torque and power both given, a row is pointed out when it breaks P = T·ω by more than 0.5 % beyond what the
    whole pull does, and the quantity that departs most from its neighbours is named. With one of them, a departure
    of more than 2 % and eight times the usual scatter from both neighbours' line is pointed out.
    """
    columns: dict[Quantity, NDArray[np.float64]] = {"engine_speed_rpm": engine_speed_rpm}
    if torque is not None:
        columns["torque_nm"] = torque
    if power is not None:
        columns["power_kw"] = power
    if engine_speed_rpm.size < 5:
        return ()
    lines = {name: _from_neighbours(values) for name, values in columns.items()}
    departures = {name: _departure(columns[name], lines[name]) for name in columns}
    rows: dict[int, Quantity] = {}
    if torque is not None and power is not None:
        ratio = disagreement(engine_speed_rpm, torque, power)
        usual = np.nanmedian(ratio) if np.isfinite(ratio).any() else 0.0
        for row in np.flatnonzero(np.abs(ratio - usual) > DISAGREEMENT):
            rows[int(row)] = max(columns, key=lambda name: departures[name][row])
        if len(rows) > 0.1 * engine_speed_rpm.size:
            rows = {}  # not slips but two different measurements; the reader says so once for the whole pull
    else:
        for name in columns:
            for row in _alone(departures[name]):
                rows.setdefault(int(row), name)
    return tuple(_slip(row, name, columns[name], lines[name]) for row, name in sorted(rows.items()))


def _from_neighbours(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """What each row would be by its two neighbours on either side: the median of four straight-line guesses."""
    v = np.pad(values, 2, mode="reflect", reflect_type="odd")
    before2, before, after, after2 = v[:-4], v[1:-3], v[3:-1], v[4:]
    guesses = np.stack([(before + after) / 2, (before2 + after2) / 2, 2 * before - before2, 2 * after - after2])
    return np.asarray(np.median(guesses, axis=0), dtype=np.float64)


def _departure(values: NDArray[np.float64], line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Relative distance from the neighbours' line, in units of at least the usual scatter of the column."""
    scale = np.maximum(np.abs(line), 1e-9)
    relative = np.abs(values - line) / scale
    usual = float(np.nanmedian(relative)) if np.isfinite(relative).any() else 0.0
    return np.nan_to_num(relative / max(usual, _LEAST_DEPARTURE / _NOISE_FACTOR), nan=0.0)


def _alone(departure: NDArray[np.float64]) -> NDArray[np.intp]:
    """Rows far off whose neighbours are not: a lone spike and not a steep part of the curve."""
    far = departure > _NOISE_FACTOR
    padded = np.pad(departure, 1)
    return np.flatnonzero(far & (departure >= 1.5 * np.maximum(padded[:-2], padded[2:])))


def _slip(row: int, name: Quantity, values: NDArray[np.float64], line: NDArray[np.float64]) -> Slip:
    value, expected = float(values[row]), float(line[row])
    near = [other for other in _one_slip_away(f"{value:g}") if abs(other - expected) <= 0.015 * abs(expected)]
    instead = min(near, key=lambda other: abs(other - expected), default=None)
    return Slip(row, name, value, expected, instead)


def _one_slip_away(text: str) -> list[float]:
    """Every number that a wrong digit, two swapped digits or a moved decimal sign turns `text` into."""
    digits = [i for i, c in enumerate(text) if c.isdigit()]
    changed = [text[:i] + d + text[i + 1 :] for i, d in product(digits, "0123456789")]
    swapped = [text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in digits[:-1] if text[i + 1].isdigit()]
    found = [float(other) for other in changed + swapped if other != text]
    value = float(text)
    return [*found, value / 10.0, value * 10.0, value / 100.0, value * 100.0]
