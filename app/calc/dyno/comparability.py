"""Are two sessions comparable? Every condition side by side, within bounds that the shop sets."""

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["same", "within bounds", "differs", "not recorded"]


@dataclass(frozen=True, slots=True)
class Circumstances:
    """The conditions of one session; None and empty text: not recorded."""

    dyno: str = ""
    gear: str = ""
    drive_mode: str = ""
    driven_axles: str = ""
    standard: str = "none"
    tyre: str = ""
    fuel: str = ""
    tyre_pressure_bar: float | None = None
    pressure_hpa: float | None = None
    temperature_c: float | None = None
    relative_humidity_percent: float | None = None
    start_intake_c: float | None = None
    start_coolant_c: float | None = None
    battery_soc_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Bounds:
    """Largest differences that count as comparable. Proposals from memory, no source; each shop sets its own."""

    tyre_pressure_bar: float = 0.2
    pressure_hpa: float = 20.0
    temperature_c: float = 10.0
    relative_humidity_percent: float = 40.0
    start_intake_c: float = 5.0
    start_coolant_c: float = 5.0
    battery_soc_percent: float = 10.0


@dataclass(frozen=True, slots=True)
class Item:
    """One condition: its name, unit and both values as text, and the verdict."""

    name: str
    unit: str
    before: str
    after: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Comparability:
    """`blocking` are differences that forbid the comparison as it stands; `items` is every condition."""

    items: tuple[Item, ...]
    blocking: tuple[str, ...]

    @property
    def differing(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if item.verdict == "differs")

    @property
    def sentence(self) -> str:
        if self.blocking:
            return "Not comparable as they stand: " + "; ".join(self.blocking) + "."
        if self.differing:
            names = ", ".join(item.name for item in self.differing)
            return f"Comparable with care: {names} differ between the sessions."
        missing = [item.name for item in self.items if item.verdict == "not recorded"]
        if missing:
            return f"No recorded condition differs; not recorded: {', '.join(missing)}."
        return "Comparable: every recorded condition agrees within the shop's bounds."


_SAME = (
    ("dyno", "Dyno"),
    ("gear", "Gear"),
    ("drive_mode", "Drive mode"),
    ("driven_axles", "Driven wheels"),
    ("standard", "Correction standard"),
    ("tyre", "Tyre"),
    ("fuel", "Fuel"),
)
_NEAR = (
    ("tyre_pressure_bar", "Tyre pressure", "bar"),
    ("pressure_hpa", "Ambient pressure", "hPa"),
    ("temperature_c", "Ambient temperature", "°C"),
    ("relative_humidity_percent", "Relative humidity", "%"),
    ("start_intake_c", "Intake air at start", "°C"),
    ("start_coolant_c", "Coolant at start", "°C"),
    ("battery_soc_percent", "State of charge", "%"),
)


def compare_conditions(
    before: Circumstances, after: Circumstances, *, bounds: Bounds | None = None, hybrid: bool = False
) -> Comparability:
    """Item by item; another dyno, gear or correction standard forbids the comparison as it stands."""
    limits = bounds or Bounds()
    items = [_same(name, str(getattr(before, key)), str(getattr(after, key))) for key, name in _SAME]
    for key, name, unit in _NEAR:
        if key == "battery_soc_percent" and not hybrid:
            continue
        items.append(_near(name, unit, getattr(before, key), getattr(after, key), getattr(limits, key)))
    blocking = [
        sentence
        for name, sentence in (
            ("Dyno", "they were measured on different dynos"),
            ("Gear", "they were measured in different gears"),
            ("Correction standard", "they follow different correction standards; convert both to one first"),
        )
        if any(item.name == name and item.verdict == "differs" for item in items)
    ]
    return Comparability(tuple(items), tuple(blocking))


def _same(name: str, before: str, after: str) -> Item:
    if not before or not after:
        return Item(name, "", before or "not recorded", after or "not recorded", "not recorded")
    equal = before.strip().casefold() == after.strip().casefold()
    return Item(name, "", before, after, "same" if equal else "differs")


def _near(name: str, unit: str, before: float | None, after: float | None, bound: float) -> Item:
    texts = ["not recorded" if value is None else f"{value:g}" for value in (before, after)]
    if before is None or after is None:
        return Item(name, unit, texts[0], texts[1], "not recorded")
    # 2.6 − 2.4 is a little more than 0.2 in binary; what was typed at the bound is within it.
    verdict: Verdict = "within bounds" if abs(after - before) <= bound * (1 + 1e-9) else "differs"
    return Item(name, unit, texts[0], texts[1], "same" if before == after else verdict)
