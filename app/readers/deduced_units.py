"""Finds units that a file leaves out, or names wrongly, from power = torque × engine speed."""

from dataclasses import replace
from itertools import product

import numpy as np

from app.calc.dyno.slips import RAD_PER_S
from app.calc.units import UNITS_OF, convert
from app.readers.dyno_columns import RecognisedColumn
from app.readers.dyno_rows import Part

# Narrow enough to tell PS with N·m from kW with lbf·ft, which differ by 0.28 %.
_AGREES = 0.0012


def deduce_units(columns: list[RecognisedColumn], parts: list[Part]) -> tuple[list[RecognisedColumn], list[str]]:
    """Columns with the units that the numbers themselves prove, and a note for each that differs from the header.

    A missing unit of power or torque is filled in when one pair of units makes power equal torque × speed within
    0.12 %. A power column headed "hp" is read as metric horsepower when only that fits.
    """
    columns = list(columns)
    notes = []
    for pull in dict.fromkeys(c.pull for c in columns):
        speed, torque, power = (_find(columns, name, pull) for name in ("engine_speed_rpm", "torque_nm", "power_kw"))
        if speed is None or torque is None or power is None or speed.unit is None:
            continue
        if torque.unit and power.unit and power.unit not in ("hp", "PS"):
            continue
        pair = _fitting_pair(speed, torque, power, parts)
        if pair is None:
            continue
        for column, unit in zip((torque, power), pair, strict=True):
            if column.unit == unit:
                continue
            columns[column.index] = replace(column, unit=unit, confidence="deduced")
            headed = f"is headed {column.unit}" if column.unit else "has no unit"
            notes.append(
                f"{column.header!r} {headed}; with power = torque × speed only {unit} fits, so it is read as {unit}."
            )
    for column in columns:
        if column.confidence == "unit missing" and column.unit is None:
            notes.append(f"{column.header!r} has no unit and was not used; say which unit it is in.")
    return columns, notes


def _find(columns: list[RecognisedColumn], name: str, pull: str | None) -> RecognisedColumn | None:
    """The pull's column of a channel, or the one all pulls share; None when there are several to choose from."""
    for label in dict.fromkeys((pull, None)):
        fitting = [c for c in columns if c.quantity == name and c.pull == label and c.confidence != "chosen"]
        if len(fitting) == 1:
            return fitting[0]
    return None


def _fitting_pair(
    speed: RecognisedColumn, torque: RecognisedColumn, power: RecognisedColumn, parts: list[Part]
) -> tuple[str, str] | None:
    n, t, p = (np.concatenate([part.numbers[c.index] for part in parts]) for c in (speed, torque, power))
    n = np.asarray(convert(n, str(speed.unit), "rpm"))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = p / (t * n * RAD_PER_S / 1000.0)
    high = np.isfinite(ratio) & (t > 0.3 * np.nanmax(t, initial=0.0)) & (n > 0)
    if high.sum() < 3:
        return None
    found = float(np.median(ratio[high]))
    torque_units = (torque.unit,) if torque.unit else UNITS_OF["torque"]
    power_units = ("hp", "PS") if power.unit else UNITS_OF["power"][:3]
    fitting = [
        (t_unit, p_unit)
        for t_unit, p_unit in product(torque_units, power_units)
        if abs(found * convert(1.0, p_unit, "kW") / convert(1.0, t_unit, "N·m") - 1.0) < _AGREES
    ]
    return fitting[0] if len(fitting) == 1 else None
