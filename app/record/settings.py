"""Settings of the workshop that a manager changes on screen."""

from dataclasses import dataclass, fields
from zoneinfo import available_timezones

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.dyno.comparability import Bounds
from app.errors import BadInput
from app.record.tables import ShopSetting

_USUAL = Bounds()


@dataclass(frozen=True, slots=True)
class Shop:
    """The workshop's settings.

    name : printed on reports and certificates.
    time_zone : IANA name; empty = the one that the server was started with.
    supply_minimum_v : supply voltage below which a flash is warned about (common practice, no source).
    supply_maximum_v : supply voltage above which a restore's supply is out of bounds (common practice, no source).
    equivalence_margin_percent : a verification pull may differ from the baseline by this much, either way.
    alike_* : two dyno sessions whose condition differs by no more than this count as alike.
    """

    name: str = "Workshop"
    time_zone: str = ""
    supply_minimum_v: float = 12.5
    supply_maximum_v: float = 15.0
    equivalence_margin_percent: float = 3.0
    alike_tyre_pressure_bar: float = _USUAL.tyre_pressure_bar
    alike_pressure_hpa: float = _USUAL.pressure_hpa
    alike_temperature_c: float = _USUAL.temperature_c
    alike_relative_humidity_percent: float = _USUAL.relative_humidity_percent
    alike_start_intake_c: float = _USUAL.start_intake_c
    alike_start_coolant_c: float = _USUAL.start_coolant_c
    alike_battery_soc_percent: float = _USUAL.battery_soc_percent

    @property
    def alike(self) -> Bounds:
        """How far the conditions of two sessions may differ and still compare."""
        return Bounds(**{one.name: getattr(self, f"alike_{one.name}") for one in fields(Bounds)})


_BOUNDS = {
    "supply_minimum_v": (9.0, 60.0),
    "supply_maximum_v": (9.0, 60.0),
    "equivalence_margin_percent": (0.1, 20.0),
    "alike_tyre_pressure_bar": (0.0, 2.0),
    "alike_pressure_hpa": (0.0, 200.0),
    "alike_temperature_c": (0.0, 50.0),
    "alike_relative_humidity_percent": (0.0, 100.0),
    "alike_start_intake_c": (0.0, 50.0),
    "alike_start_coolant_c": (0.0, 50.0),
    "alike_battery_soc_percent": (0.0, 100.0),
}


def shop(session: Session) -> Shop:
    known = {field.name for field in fields(Shop)}
    rows = session.execute(select(ShopSetting.key, ShopSetting.value))
    return Shop(**{key: value["value"] for key, value in rows if key in known})


def check(wanted: Shop) -> None:
    """Raise `BadInput` that names the field outside its bounds."""
    if not wanted.name.strip() or len(wanted.name) > 80:
        raise BadInput("The workshop's name must have 1 to 80 characters.", field="name")
    if wanted.time_zone and wanted.time_zone not in available_timezones():
        raise BadInput(f"{wanted.time_zone!r} is no time zone; write one like Europe/Lisbon.", field="time_zone")
    for field, (lowest, highest) in _BOUNDS.items():
        if not lowest <= getattr(wanted, field) <= highest:
            raise BadInput(f"Write a number from {lowest:g} to {highest:g}.", field=field)
    if not wanted.supply_minimum_v < wanted.supply_maximum_v:
        raise BadInput("The highest supply voltage must lie above the lowest.", field="supply_maximum_v")


def store(session: Session, wanted: Shop) -> dict[str, tuple[str | float, str | float]]:
    """Keep the settings; returns what changed: field → (before, after)."""
    check(wanted)
    before = shop(session)
    changed: dict[str, tuple[str | float, str | float]] = {}
    for field in fields(Shop):
        old, new = getattr(before, field.name), getattr(wanted, field.name)
        if old != new:
            changed[field.name] = (old, new)
            session.merge(ShopSetting(key=field.name, value={"value": new}))
    session.flush()
    return changed
