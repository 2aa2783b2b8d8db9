"""The shop can rely on it that a unit in a header is read as what the instrument meant, or not at all."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.unit_labels import parse_unit, parse_unit_for
from app.calc.units import UNITS

# Common practice in instrument headers, no source.
SPELLINGS = [
    ("Nm", "N·m"), ("[N.m]", "N·m"), ("(N*m)", "N·m"), ("N-m", "N·m"), ("N⋅m", "N·m"),
    ("lb-ft", "lbf·ft"), ("ft-lb", "lbf·ft"), ("ft.lbs", "lbf·ft"), ("lbf·ft", "lbf·ft"), ("FT LBS",
    "lbf·ft"),
    ("lb.ft.", "lbf·ft"), ("kgf.m", "kgf·m"), ("kg·m", "kgf·m"), ("mkg", "kgf·m"),
    ("hp", "hp"), ("HP", "hp"), ("bhp", "hp"), ("whp", "hp"), ("PS", "PS"), ("cv", "PS"), ("ch", "PS"),
    ("hk", "PS"),
    ("pk", "PS"), ("л.с.", "PS"), ("KW", "kW"), ("[kW]", "kW"),
    ("1/min", "rpm"), ("U/min", "rpm"), ("min-1", "rpm"), ("min⁻¹", "rpm"), ("min^-1", "rpm"), ("tr/min",
    "rpm"),
    ("r/min", "rpm"), ("об/мин", "rpm"), ("RPM", "rpm"), ("rad/s", "rad/s"),
    ("hPa", "hPa"), ("mbar", "mbar"), ("mBar", "mbar"), ("inHg", "inHg"), ("in. Hg", "inHg"), ('"Hg', "inHg"),
    ("in-Hg", "inHg"), ("psi", "psi"), ("PSIG", "psi"), ("lbf/in²", "psi"), ("kPa abs", "kPa"), ("bar",
    "bar"),
    ("kg/cm²", "kgf/cm²"), ("°C", "°C"), ("degC", "°C"), ("deg. F", "°F"), ("ºC", "°C"), ("˚C", "°C"),
    ("K", "K"),
    ("km/h", "km/h"), ("kph", "km/h"), ("MPH", "mph"), ("mi/h", "mph"), ("m/s", "m/s"),
    ("L/100 km", "L/100 km"), ("l/100km", "L/100 km"), ("mpg (US)", "mpg (US)"), ("UK mpg", "mpg (UK)"),
    ("s", "s"), ("sec", "s"), ("ms", "ms"), ("%", "%"), ("Lambda", "λ"), ("λ", "λ"), ("AFR", "AFR"),
    ("V", "V"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "symbol"), SPELLINGS)
def test_spellings_in_use_are_understood(text: str, symbol: str) -> None:
    found = parse_unit(text)
    assert found is not None
    assert found.symbol == symbol


@pytest.mark.parametrize("text", ["", "mpg", "gal", "MW", "foo", "N", "12", "kWh", "()", "[]"])
def test_what_is_ambiguous_or_unknown_is_not_guessed(text: str) -> None:
    found = parse_unit(text)
    assert found is None or found.symbol == text


def test_the_column_decides_between_meanings_of_one_spelling() -> None:
    assert parse_unit_for("KM", "power") is UNITS["PS"]  # konie mechaniczne
    assert parse_unit_for("km", "distance") is UNITS["km"]
    assert parse_unit_for("kg", "torque") is UNITS["kgf·m"]
    assert parse_unit_for("kg", "mass") is UNITS["kg"]
    assert parse_unit_for("°", "temperature") is UNITS["°C"]
    assert parse_unit_for("Nm", "power") is None


@pytest.mark.parametrize("symbol", sorted(UNITS))
def test_every_symbol_of_the_table_reads_as_itself(symbol: str) -> None:
    assert parse_unit(symbol) is UNITS[symbol]
    assert parse_unit(f" [{symbol}] ") is UNITS[symbol]


@settings(max_examples=300)
@given(st.text(max_size=30))
def test_no_text_upsets_it(text: str) -> None:
    found = parse_unit(text)
    assert found is None or found is UNITS[found.symbol]
