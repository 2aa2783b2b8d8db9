"""The whole story: every car's part, put in order of time."""

from seed_data import workshop
from seed_data.brennick_warder import story as brennick_warder
from seed_data.corvane_astrel import story as corvane_astrel
from seed_data.corvane_estate import story as corvane_estate
from seed_data.fenmark_piper import story as fenmark_piper
from seed_data.ondrake_hauler import story as ondrake_hauler
from seed_data.sillion_merle import story as sillion_merle
from seed_data.story import Step, Story
from seed_data.tarkess_lanner import story as tarkess_lanner
from seed_data.velmora_sirrus import story as velmora_sirrus

_CARS = (
    sillion_merle,
    ondrake_hauler,
    tarkess_lanner,
    corvane_astrel,
    corvane_estate,
    velmora_sirrus,
    brennick_warder,
    fenmark_piper,
)


def told() -> Story:
    """All steps from the oldest to the newest; steps of one minute keep the order they were told in."""
    story = Story()
    workshop.tell(story)
    for car in _CARS:
        car.tell(story)
    story.steps.sort(key=_age)
    return story


def _age(step: Step) -> tuple[int, int]:
    """Sorts oldest first: days before now, then the minute of the day; today's steps come last."""
    if "minutes_ago" in step:
        return 0, 1440 - int(step["minutes_ago"])
    hours, minutes = str(step["at"]).split(":")
    return -int(step["days_ago"]), int(hours) * 60 + int(minutes)
