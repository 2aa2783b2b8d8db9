"""Fills a database from `seed_data/` through the same actions that a person's uploads take."""

import datetime as dt
import importlib
import importlib.util
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.record import people
from app.record.engine import transaction
from app.resources import resource_dir
from app.seed.steps import STEPS
from app.seed.story import Story

Progress = Callable[[int, int, str], None]
Step = Mapping[str, Any]


def load(engine: Engine, *, now: dt.datetime, progress: Progress | None = None) -> None:
    """Write the demo's files into a scratch folder and do every step of its story, one transaction each.

    `progress` is called with (steps done, steps in all, what was done).
    """
    generator = _generator()
    with tempfile.TemporaryDirectory(prefix="revledger-demo-") as folder:
        scenario = generator.generate(Path(folder), None)
        zone = ZoneInfo(scenario.steps[0]["time_zone"])
        story = Story(files=scenario.files)
        for done, step in enumerate(scenario.steps, start=1):
            at = generator.moment(step, now, zone)
            with transaction(engine) as session:
                _do(session, story, step, at)
            if progress is not None:
                progress(done, len(scenario.steps), step["do"].replace("_", " "))


def _do(session: Session, story: Story, step: Step, at: dt.datetime) -> None:
    known = story.ids.get(("person", step["by"]))
    person = None if known is None else people.by_id(session, known)
    STEPS[step["do"]](session, story, person, at, step)


def _generator() -> Any:
    """The module `seed_data.generate`, beside `app/` in a checkout, inside it in a wheel."""
    folder = resource_dir("seed_data")
    if importlib.util.find_spec("seed_data") is None:
        sys.path.append(str(folder.parent))
    return importlib.import_module("seed_data.generate")
