"""The shop can rely on it that a number keeps its meaning when the unit it is read in changes."""

import json
from pathlib import Path

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.units import UNITS, UNITS_OF, convert, convert_difference
from app.errors import BadInput

DATA = json.loads((Path(__file__).parent / "dyno" / "data" / "units.json").read_text("utf-8"))
CONSTANTS = {row["id"]: row["value"] for row in DATA["constants"]}

# Exact definitions (NIST SP 811 B.8 to seven digits); the id in the data file, from, to.
FACTORS = [
    ("hp (550 ft.lbf/s) -> W", "hp", "W"),
    ("PS (metric horsepower, 75 kgf.m/s) -> W", "PS", "W"),
    ("kW -> hp", "kW", "hp"),
    ("kW -> PS", "kW", "PS"),
    ("hp -> PS", "hp", "PS"),
    ("lbf.ft -> N.m", "lbf·ft", "N·m"),
    ("kgf.m -> N.m", "kgf·m", "N·m"),
    ("lbf -> N", "lbf", "N"),
    ("psi -> Pa", "psi", "Pa"),
    ("bar -> Pa", "bar", "Pa"),
    ("psi -> bar", "psi", "bar"),
    ("atm -> Pa", "atm", "Pa"),
    ("inHg (conventional, 13595.1 kg/m3, g_n) -> Pa", "inHg", "Pa"),
    ("mmHg (conventional) -> Pa", "mmHg", "Pa"),
    ("inH2O (conventional, 1000 kg/m3) -> Pa", "inH2O", "Pa"),
    ("mile/h -> m/s", "mph", "m/s"),
    ("mile/h -> km/h", "mph", "km/h"),
    ("km/h -> m/s", "km/h", "m/s"),
    ("inch -> m", "in", "m"),
    ("foot -> m", "ft", "m"),
    ("lb -> kg", "lb", "kg"),
    ("US gallon -> L", "gal (US)", "L"),
    ("UK gallon -> L", "gal (UK)", "L"),
    ("rpm -> rad/s", "rpm", "rad/s"),
]

PINT_NAMES = {
    "kW": "kilowatt", "hp": "horsepower", "PS": "metric_horsepower", "W": "watt",
    "N·m": "newton*meter", "lbf·ft": "force_pound*foot", "kgf·m": "force_kilogram*meter",
    "N": "newton", "lbf": "force_pound", "kgf": "force_kilogram",
    "rpm": "revolutions_per_minute", "rad/s": "radian/second", "1/s": "revolutions_per_second",
    "hPa": "hectopascal", "kPa": "kilopascal", "inHg": "inch_Hg", "mbar": "millibar", "psi": "psi",
    "bar": "bar",
    "mmHg": "millimeter_Hg", "inH2O": "inch_H2O_4C", "Pa": "pascal",
    "kgf/cm²": "force_kilogram/centimeter**2",
    "atm": "atmosphere", "km/h": "kilometer/hour", "mph": "mile/hour", "m/s": "meter/second",
    "kg": "kilogram", "lb": "pound", "g": "gram", "t": "metric_ton",
    "m": "meter", "ft": "foot", "in": "inch", "mm": "millimeter", "km": "kilometer", "mi": "mile",
    "L": "liter", "gal (US)": "gallon", "gal (UK)": "imperial_gallon", "s": "second", "ms": "millisecond",
    "min": "minute", "°": "degree", "rad": "radian", "V": "volt", "mV": "millivolt",
    "°C": "degree_Celsius", "°F": "degree_Fahrenheit", "K": "kelvin",
}  # fmt: skip


@pytest.mark.parametrize(("key", "source", "target"), FACTORS)
def test_factors_are_the_exact_definitions(key: str, source: str, target: str) -> None:
    assert convert(1.0, source, target) == pytest.approx(CONSTANTS[key], rel=1e-9)


def test_every_unit_agrees_with_pint() -> None:
    registry = pint.UnitRegistry()
    for quantity, symbols in UNITS_OF.items():
        base = symbols[0]
        for symbol in symbols:
            if symbol not in PINT_NAMES:
                continue
            expected = registry.Quantity(37.5, PINT_NAMES[symbol]).to(PINT_NAMES[base]).magnitude
            # pint's mercury is rounded to 13.5951 as here; its water at 4 °C is 0.999975, hence the wider
            # bound.
            rel = 3e-5 if symbol == "inH2O" else 1e-9
            assert convert(37.5, symbol, base) == pytest.approx(expected, rel=rel), (quantity, symbol)


@pytest.mark.parametrize(("fahrenheit", "celsius"), DATA["temperature"][0]["pairs"])
def test_temperatures_are_those_of_the_definition(fahrenheit: float, celsius: float) -> None:
    assert convert(float(fahrenheit), "°F", "°C") == pytest.approx(celsius, abs=1e-9)
    assert convert(float(fahrenheit), "°F", "K") == pytest.approx(celsius + 273.15, abs=1e-9)


def test_consumption_is_reciprocal() -> None:
    fuel = next(row for row in DATA["worked_examples"] if row["id"] == "fuel")["value"]
    assert convert(30.0, "mpg (US)", "L/100 km") == pytest.approx(fuel["L_per_100km"], rel=1e-9)
    assert convert(30.0, "mpg (US)", "km/L") == pytest.approx(fuel["km_per_L"], rel=1e-9)
    assert convert(30.0, "mpg (US)", "mpg (UK)") == pytest.approx(fuel["mpg_UK"], rel=1e-9)
    us, uk = "US mpg <-> L/100 km (reciprocal constant)", "UK mpg <-> L/100 km (reciprocal constant)"
    assert convert(1.0, "mpg (US)", "L/100 km") == pytest.approx(CONSTANTS[us], rel=1e-9)
    assert convert(1.0, "mpg (UK)", "L/100 km") == pytest.approx(CONSTANTS[uk], rel=1e-9)
    with pytest.raises(BadInput):
        convert(0.0, "mpg (US)", "L/100 km")


def test_power_from_torque_and_speed_in_every_horsepower() -> None:
    example = next(row for row in DATA["worked_examples"] if row["id"] == "power/torque")["value"]
    kilowatt = 400.0 * convert(5500.0, "rpm", "rad/s") / 1000.0
    assert kilowatt == pytest.approx(example["power_kW"], rel=1e-9)
    assert convert(kilowatt, "kW", "hp") == pytest.approx(example["power_hp"], rel=1e-9)
    assert convert(kilowatt, "kW", "PS") == pytest.approx(example["power_PS"], rel=1e-9)


def test_a_difference_of_temperatures_has_no_zero_point() -> None:
    assert convert_difference(18.0, "°F", "K") == pytest.approx(10.0, rel=1e-12)
    with pytest.raises(BadInput):
        convert_difference(1.0, "mpg (US)", "L/100 km")


@pytest.mark.parametrize(("source", "target"), [("kW", "N·m"), ("furlong", "m"), ("m", "furlong"), ("", "kW")])
def test_units_that_do_not_fit_are_refused(source: str, target: str) -> None:
    with pytest.raises(BadInput):
        convert(1.0, source, target)


def test_the_lists_offered_to_people_start_with_what_is_stored() -> None:
    assert UNITS_OF["power"][:3] == ("kW", "hp", "PS")
    assert UNITS_OF["torque"] == ("N·m", "lbf·ft", "kgf·m")
    assert UNITS_OF["temperature"] == ("°C", "°F", "K")
    assert UNITS_OF["pressure"][:6] == ("hPa", "kPa", "inHg", "mbar", "psi", "bar")
    assert UNITS_OF["vehicle speed"] == ("km/h", "mph", "m/s")
    assert UNITS_OF["fuel consumption"][:3] == ("L/100 km", "mpg (US)", "mpg (UK)")


@settings(max_examples=200)
@given(st.sampled_from(sorted(UNITS_OF)), st.data(), st.floats(1e-3, 1e6))
def test_there_and_back_is_the_same_number(quantity: str, data: st.DataObject, value: float) -> None:
    source = data.draw(st.sampled_from(UNITS_OF[quantity]))
    target = data.draw(st.sampled_from(UNITS_OF[quantity]))
    there = convert(value, source, target)
    assert convert(there, target, source) == pytest.approx(value, rel=1e-9, abs=1e-9)
    assert np.allclose(convert(np.array([value, value]), source, target), there, rtol=1e-15, atol=0)


def test_no_symbol_is_a_bare_gallon_or_consumption() -> None:
    assert not {"gal", "mpg", "lb-ft", "HP"} & set(UNITS)
