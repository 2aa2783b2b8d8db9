"""The fixed table of units that the workshop reads and types.

Numbers are kept in one unit per quantity (the first of each list in `UNITS_OF`) and converted at the edge.
Every factor is an exact definition: the 1959 international yard and pound, the standard acceleration of free
fall 9.80665 m/s², the conventional densities of water and mercury, DIN 66036 for the metric horsepower.

"hp" is always the mechanical horsepower (550 ft·lbf/s, 745.7 W) and "PS" always the metric one (75 kgf·m/s,
735.5 W); the two differ by 1.4 %.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import pi
from typing import overload

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput

_POUND = Fraction(45359237, 10**8)
_FREE_FALL = Fraction(980665, 10**5)
_FOOT = Fraction(3048, 10**4)
_INCH = Fraction(254, 10**4)
_LBF = _POUND * _FREE_FALL
_MERCURY = Fraction(135951, 10)
_US_GALLON = 231 * _INCH**3 * 1000
_UK_GALLON = Fraction(454609, 10**5)
_MILE = 5280 * _FOOT


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: `stored = (value + offset) × factor`, or `factor / value` when `reciprocal`."""

    symbol: str
    quantity: str
    factor: float
    offset: float = 0.0
    reciprocal: bool = False


def _table() -> dict[str, Unit]:
    rows: list[tuple[str, str, Fraction | float]] = [
        ("power", "kW", 1.0),
        ("power", "hp", 550 * _LBF * _FOOT / 1000),
        ("power", "PS", 75 * _FREE_FALL / 1000),
        ("power", "W", Fraction(1, 1000)),
        ("torque", "N·m", 1.0),
        ("torque", "lbf·ft", _LBF * _FOOT),
        ("torque", "kgf·m", _FREE_FALL),
        ("force", "N", 1.0),
        ("force", "lbf", _LBF),
        ("force", "kgf", _FREE_FALL),
        ("engine speed", "rpm", 1.0),
        ("engine speed", "rad/s", 30 / pi),
        ("engine speed", "1/s", 60.0),
        ("pressure", "hPa", 1.0),
        ("pressure", "kPa", 10.0),
        ("pressure", "inHg", _MERCURY * _FREE_FALL * _INCH / 100),
        ("pressure", "mbar", 1.0),
        ("pressure", "psi", _LBF / _INCH**2 / 100),
        ("pressure", "bar", 1000.0),
        ("pressure", "mmHg", _MERCURY * _FREE_FALL / 1000 / 100),
        ("pressure", "inH2O", 1000 * _FREE_FALL * _INCH / 100),
        ("pressure", "Pa", Fraction(1, 100)),
        ("pressure", "kgf/cm²", _FREE_FALL * 100),
        ("pressure", "atm", Fraction(101325, 100)),
        ("vehicle speed", "km/h", 1.0),
        ("vehicle speed", "mph", _MILE / 1000),
        ("vehicle speed", "m/s", Fraction(36, 10)),
        ("mass", "kg", 1.0),
        ("mass", "lb", _POUND),
        ("mass", "g", Fraction(1, 1000)),
        ("mass", "t", 1000.0),
        ("length", "m", 1.0),
        ("length", "ft", _FOOT),
        ("length", "in", _INCH),
        ("length", "mm", Fraction(1, 1000)),
        ("distance", "km", 1.0),
        ("distance", "mi", _MILE / 1000),
        ("volume", "L", 1.0),
        ("volume", "gal (US)", _US_GALLON),
        ("volume", "gal (UK)", _UK_GALLON),
        ("time", "s", 1.0),
        ("time", "ms", Fraction(1, 1000)),
        ("time", "min", 60.0),
        ("angle", "°", 1.0),
        ("angle", "rad", 180 / pi),
        ("ratio", "%", 1.0),
        ("lambda", "λ", 1.0),
        ("air-fuel ratio", "AFR", 1.0),
        ("voltage", "V", 1.0),
        ("voltage", "mV", Fraction(1, 1000)),
    ]
    units = [Unit(symbol, quantity, float(factor)) for quantity, symbol, factor in rows]
    units += [
        Unit("°C", "temperature", 1.0),
        Unit("°F", "temperature", float(Fraction(5, 9)), -32.0),
        Unit("K", "temperature", 1.0, -273.15),
        Unit("L/100 km", "fuel consumption", 1.0),
        Unit("mpg (US)", "fuel consumption", float(_US_GALLON / _MILE * 10**5), reciprocal=True),
        Unit("mpg (UK)", "fuel consumption", float(_UK_GALLON / _MILE * 10**5), reciprocal=True),
        Unit("km/L", "fuel consumption", 100.0, reciprocal=True),
    ]
    return {unit.symbol: unit for unit in units}


UNITS: dict[str, Unit] = _table()

UNITS_OF: dict[str, tuple[str, ...]] = {
    quantity: tuple(u.symbol for u in UNITS.values() if u.quantity == quantity)
    for quantity in dict.fromkeys(u.quantity for u in UNITS.values())
}
"""Units per quantity; the first one is what the record stores."""


def unit(symbol: str) -> Unit:
    """The unit of exactly this symbol; `BadInput` when the table has none."""
    try:
        return UNITS[symbol]
    except KeyError:
        raise BadInput(
            f"{symbol!r} is not a unit known here; choose one of {', '.join(UNITS)}.", field="unit"
        ) from None


def _pair(from_unit: str, to_unit: str) -> tuple[Unit, Unit]:
    source, target = unit(from_unit), unit(to_unit)
    if source.quantity != target.quantity:
        raise BadInput(
            f"{from_unit} measures {source.quantity} and {to_unit} measures {target.quantity}: "
            "one cannot be converted to the other.",
            field="unit",
        )
    return source, target


@overload
def convert(value: float, from_unit: str, to_unit: str) -> float: ...
@overload
def convert(value: NDArray[np.float64], from_unit: str, to_unit: str) -> NDArray[np.float64]: ...
def convert(value: float | NDArray[np.float64], from_unit: str, to_unit: str) -> float | NDArray[np.float64]:
    """`value`, one number or an array, expressed in another unit of the same quantity.

    Raises `BadInput` for an unknown symbol, two different quantities, or a consumption of zero.

    >>> round(convert(230.383461263, "kW", "hp"), 6)
    308.949311
    >>> round(convert(30.0, "mpg (US)", "L/100 km"), 6)
    7.840486
    """
    source, target = _pair(from_unit, to_unit)
    if source is target:
        return value
    if source.reciprocal or target.reciprocal:
        if np.any(np.asarray(value) == 0):
            raise BadInput(f"0 {from_unit} has no value in {to_unit}.", field="value")
        stored = source.factor / value if source.reciprocal else value * source.factor
        return target.factor / stored if target.reciprocal else stored / target.factor
    return (value + source.offset) * source.factor / target.factor - target.offset


def convert_difference(value: float, from_unit: str, to_unit: str) -> float:
    """A difference of two values in another unit: 9 °F apart are 5 °C apart.

    Raises `BadInput` for fuel consumption in distance per volume, whose differences have no fixed size.

    >>> convert_difference(9.0, "°F", "°C")
    5.0
    """
    source, target = _pair(from_unit, to_unit)
    if source.reciprocal != target.reciprocal:
        raise BadInput(f"A difference in {from_unit} has no fixed size in {to_unit}.", field="unit")
    return value * source.factor / target.factor if not source.reciprocal else value * target.factor / source.factor
