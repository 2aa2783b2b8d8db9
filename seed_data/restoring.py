"""Steps of a back-to-stock case, each closed by its evidence."""

from typing import Any

from seed_data.acts import later
from seed_data.story import Story, When

SUPPLY = (13.4, 13.7)


def close_step(
    story: Story, restore: str, key: str, when: When, by: str, *, control_unit: str | None = None, **evidence: Any
) -> None:
    """One step of the checklist; `key` is the step's name without the control unit."""
    story.step("close_step", when, by, restore=restore, key=key, control_unit=control_unit, **evidence)


def open_restore(story: Story, label: str, units: list[str], when: When, by: str, *, reason: str, **held: Any) -> None:
    """The case, with the coding snapshot and the baseline that its steps compare with."""
    vehicle = label.split(".")[0]
    story.step("open_restore", when, by, label=label, vehicle=vehicle, control_units=units, reason=reason, **held)


def secure_and_supply(story: Story, restore: str, unit: str, when: When, by: str) -> None:
    """The stock image is hashed again; a stabilised supply is connected."""
    close_step(story, restore, "secure_stock", when, by, control_unit=unit)
    close_step(story, restore, "supply", later(when, 4), by, lowest_v=SUPPLY[0], highest_v=SUPPLY[1])
