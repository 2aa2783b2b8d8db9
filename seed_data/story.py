"""Collects what people did and the files they uploaded, car by car."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from seed_data.pull_text import Writer
from seed_data.pulls import Air, Engine, Pull, rows_of

Step = dict[str, Any]
Maker = Callable[[], bytes]

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class When:
    """A moment before now: so many days ago at a time of the workshop's clock, or so many minutes ago."""

    days_ago: int | None = None
    at: str | None = None
    minutes_ago: int | None = None


def day(days_ago: int, at: str) -> When:
    """`at` is "HH:MM" by the workshop's clock."""
    return When(days_ago=days_ago, at=at)


def today(minutes_ago: int) -> When:
    """A moment of the last hours."""
    return When(minutes_ago=minutes_ago)


@dataclass
class Story:
    """Steps in the order they are told, and the files that they name with what makes them."""

    steps: list[Step] = field(default_factory=list)
    files: dict[str, Maker] = field(default_factory=dict)

    def step(self, do: str, when: When, by: str, **fields: Any) -> None:
        """One thing `by` did; fields are named as the record names them."""
        moment = {
            name: value for name in ("days_ago", "at", "minutes_ago") if (value := getattr(when, name)) is not None
        }
        self.steps.append({"do": do, **moment, "by": by, **fields})

    def file(self, path: str, maker: Maker) -> str:
        """Announce a generated file; the same path always has the same maker."""
        self.files[path] = maker
        return path

    def kept(self, path: str) -> str:
        """Announce a small file that lies beside this module."""
        self.files[path] = (HERE / path).read_bytes
        return path


@dataclass(frozen=True)
class Rollers:
    """A dyno and the dialect its program wrote at the time."""

    name: str
    writer: Writer
    operator: str


@dataclass(frozen=True)
class Setting:
    """What a car's sessions have in common."""

    vehicle: str
    folder: str
    shown_as: str
    correction_standard: str
    gear: str
    drive_mode: str
    driven_axles: str
    tyre: str
    tyre_pressure_bar: float
    fuel: str


def dyno_session(
    story: Story,
    setting: Setting,
    rollers: Rollers,
    *,
    name: str,
    when: When,
    purpose: str,
    engine: Engine,
    air: Air,
    coolant_c: Sequence[float],
    intake_c: Sequence[float],
    state_of_charge_percent: Sequence[float] | None = None,
    dips: dict[int, tuple[float, float]] | None = None,
    note: str = "",
) -> None:
    """A session with one pull for each start temperature; every pull is a file of the dyno's dialect."""
    label = f"{setting.vehicle}.{name}"
    story.step(
        "record_session",
        when,
        rollers.operator,
        label=label,
        vehicle=setting.vehicle,
        dyno=rollers.name,
        purpose=purpose,
        correction_standard=setting.correction_standard,
        pressure_hpa=air.pressure_hpa,
        temperature_c=air.temperature_c,
        relative_humidity_percent=air.relative_humidity_percent,
        gear=setting.gear,
        drive_mode=setting.drive_mode,
        driven_axles=setting.driven_axles,
        tyre=setting.tyre,
        tyre_pressure_bar=setting.tyre_pressure_bar,
        fuel=setting.fuel,
        start_coolant_c=coolant_c[0],
        start_intake_c=intake_c[0],
        battery_soc_percent=None if state_of_charge_percent is None else state_of_charge_percent[0],
        note=note,
    )
    for k, intake in enumerate(intake_c):
        pull = Pull(f"{label} {k + 1}", label, k, intake, (dips or {}).get(k))
        path = f"{setting.folder}/{name}-pull-{k + 1}.csv"
        story.step(
            "add_runs",
            when,
            rollers.operator,
            label=f"{label}.{k + 1}",
            session=label,
            file=story.file(path, partial(_recording, rollers.writer, engine, air, pull, setting.shown_as, k + 1)),
            start_coolant_c=coolant_c[k],
            start_intake_c=intake,
            battery_soc_percent=None if state_of_charge_percent is None else state_of_charge_percent[k],
        )


def _recording(writer: Writer, engine: Engine, air: Air, pull: Pull, shown_as: str, number: int) -> bytes:
    return writer(rows_of(engine, air, pull), shown_as, number)
