"""The workshop itself: its people, its two dynos, and what their programs write."""

from seed_data.pull_text import north_cell, north_cell_before, south_cell, south_cell_before, south_cell_with_load
from seed_data.story import Rollers, Story, day

NAME = "Saltmarsh Rolling Road"
TOWN = "Ebbenford"

MANAGER, TUNER, SECOND_TUNER, WRITER = "mira", "oskar", "edda", "tomas"

NORTH = Rollers("North cell", north_cell, TUNER)
NORTH_BEFORE = Rollers("North cell", north_cell_before, TUNER)
SOUTH = Rollers("South cell", south_cell, SECOND_TUNER)
SOUTH_WITH_LOAD = Rollers("South cell", south_cell_with_load, SECOND_TUNER)
SOUTH_BEFORE = Rollers("South cell", south_cell_before, SECOND_TUNER)

OPENED = 214


def tell(story: Story) -> None:
    """The first day: names, people, dynos."""
    story.step("set_up_workshop", day(OPENED, "08:00"), MANAGER, name=NAME, town=TOWN, time_zone="Europe/London")
    for label, name, role in (
        (MANAGER, "Mira Talvik", "manager"),
        (TUNER, "Oskar Dunmore", "tuner"),
        (SECOND_TUNER, "Edda Pell", "tuner"),
        (WRITER, "Tomas Arkwell", "front_desk"),
    ):
        story.step("add_person", day(OPENED, "08:05"), MANAGER, label=label, name=name, role=role)
    notes = {
        "North cell": "Two driven axles, eddy current brake, 450 1/min per second in the usual ramp.",
        "South cell": "One driven axle, inertia rollers 1,940 kg equivalent mass.",
    }
    for name, note in notes.items():
        story.step("add_dyno", day(OPENED, "08:20"), MANAGER, label=name, name=name, note=note)
