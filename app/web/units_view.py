"""Numbers as one person reads and types them: in the units that the person chose."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.calc.number_text import NARROW_SPACE, plain
from app.calc.units import UNITS_OF, convert, convert_difference
from app.record.tables import Person

# What a person may choose, per quantity; the first one is the default and what the record stores.
CHOICES: dict[str, tuple[str, ...]] = {
    "power": ("kW", "hp", "PS"),
    "torque": ("N·m", "lbf·ft", "kgf·m"),
    "temperature": ("°C", "°F"),
    "pressure": ("hPa", "inHg", "kPa", "psi", "bar"),
    "vehicle speed": ("km/h", "mph"),
    "distance": ("km", "mi"),
    "mass": ("kg", "lb"),
    "fuel consumption": ("L/100 km", "mpg (US)", "mpg (UK)", "km/L"),
}
# Quantities that nobody chooses a unit for: the stored unit, the quantity whose choice they follow, and how.
_FOLLOWING: dict[str, tuple[str, str, Mapping[str, str]]] = {
    "volume": ("L", "fuel consumption", {"mpg (US)": "gal (US)", "mpg (UK)": "gal (UK)"}),
    "tyre pressure": ("bar", "pressure", {"psi": "psi", "inHg": "psi", "kPa": "kPa"}),
}
_DECIMALS = {
    "kW": 1, "hp": 1, "PS": 1, "N·m": 1, "lbf·ft": 1, "kgf·m": 2, "°C": 1, "°F": 1, "K": 1, "hPa": 1, "inHg": 2,
    "kPa": 2, "psi": 2, "bar": 3, "mbar": 1, "km/h": 1, "mph": 1, "m/s": 2, "kg": 0, "lb": 0, "L/100 km": 2,
    "mpg (US)": 1, "mpg (UK)": 1, "km/L": 1, "rpm": 0, "V": 1, "%": 1, "λ": 3, "s": 3, "m": 2, "km": 0, "mi": 0,
    "L": 2, "°": 1,
}  # fmt: skip


def stored_unit(quantity: str) -> str:
    """The unit that the record keeps the quantity in."""
    return _FOLLOWING[quantity][0] if quantity in _FOLLOWING else UNITS_OF[quantity][0]


@dataclass(frozen=True, slots=True)
class UnitsView:
    """The units of one person: quantity → symbol, for quantities where it is not the stored one."""

    chosen: Mapping[str, str] = field(default_factory=dict)

    def symbol(self, quantity: str) -> str:
        """The unit this person reads the quantity in."""
        if quantity in _FOLLOWING:
            stored, leading, units = _FOLLOWING[quantity]
            return units.get(self.symbol(leading), stored)
        return self.chosen.get(quantity) or UNITS_OF[quantity][0]

    def show(self, value: float, quantity: str) -> float:
        """A stored value in the person's unit."""
        return convert(value, stored_unit(quantity), self.symbol(quantity))

    def show_difference(self, value: float, quantity: str) -> float:
        """A difference of stored values, or an uncertainty, in the person's unit."""
        return convert_difference(value, stored_unit(quantity), self.symbol(quantity))

    def read(self, value: float, quantity: str) -> float:
        """A value typed in the person's unit as the record stores it."""
        return convert(value, self.symbol(quantity), stored_unit(quantity))

    def read_difference(self, value: float, quantity: str) -> float:
        """A difference typed in the person's unit as the record stores it."""
        return convert_difference(value, self.symbol(quantity), stored_unit(quantity))

    def decimals(self, quantity: str) -> int:
        return _DECIMALS.get(self.symbol(quantity), 2)

    def text(self, value: float | None, quantity: str, spread: float | None = None, decimals: int | None = None) -> str:
        """ "308.9 ± 2.1 hp"; an empty value is "not recorded"."""
        if value is None:
            return "not recorded"
        places = self.decimals(quantity) if decimals is None else decimals
        number = plain(self.show(value, quantity), places)
        if spread is not None:
            number += f" ± {plain(self.show_difference(spread, quantity), places)}"
        return number + NARROW_SPACE + self.symbol(quantity)

    def difference_text(
        self, value: float | None, quantity: str, spread: float | None = None, decimals: int | None = None
    ) -> str:
        """ "+12.4 ± 2.1 hp": a gain or another difference, always with its sign."""
        if value is None:
            return "not recorded"
        places = self.decimals(quantity) if decimals is None else decimals
        number = plain(self.show_difference(value, quantity), places, sign=True)
        if spread is not None:
            number += f" ± {plain(self.show_difference(spread, quantity), places)}"
        return number + NARROW_SPACE + self.symbol(quantity)

    @property
    def summary(self) -> str:
        return ", ".join(self.symbol(quantity) for quantity in CHOICES)


def units_of(person: Person | None) -> UnitsView:
    """The person's choice; what is not a choice (any more) is ignored."""
    wanted = (person.preferences.get("units") or {}) if person is not None else {}
    return UnitsView({q: symbol for q, symbol in wanted.items() if symbol in CHOICES.get(q, ())})
