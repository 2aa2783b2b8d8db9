"""Writes every file that the invented workshop's people upload, and tells in which order they do what.

    python seed_data/generate.py FOLDER        writes the files and scenario.json into FOLDER

The bytes depend on nothing but this code: the same on every machine, whatever the Python or numpy version.
"""

import argparse
import datetime as dt
import importlib.util
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# Run or loaded by path, as from inside an installed wheel, the folder's own name is not importable yet.
if importlib.util.find_spec("seed_data") is None:
    sys.path.append(str(Path(__file__).resolve().parent.parent))

from seed_data.scenario import told
from seed_data.story import Step

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Scenario:
    """What was written: the steps in order of time, and the path of each file that a step names."""

    folder: Path
    steps: tuple[Step, ...]
    files: dict[str, Path]


def generate(folder: Path, progress: Progress | None = None) -> Scenario:
    """Write all files into `folder`; `progress` is called with (files done, files in all, name)."""
    story = told()
    files: dict[str, Path] = {}
    for done, (name, make) in enumerate(story.files.items(), start=1):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(make())
        files[name] = path
        if progress is not None:
            progress(done, len(story.files), name)
    return Scenario(folder, tuple(story.steps), files)


def moment(step: Step, now: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    """When a step happened, seen from `now` (aware), in UTC; clock times are those of the workshop's `zone`."""
    if "minutes_ago" in step:
        return (now - dt.timedelta(minutes=step["minutes_ago"])).astimezone(dt.UTC)
    day = now.astimezone(zone).date() - dt.timedelta(days=step["days_ago"])
    clock = dt.time.fromisoformat(step["at"])
    return dt.datetime.combine(day, clock, tzinfo=zone).astimezone(dt.UTC)


def _main() -> None:
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("folder", type=Path, help="where the files go; made when it does not exist")
    folder: Path = parser.parse_args().folder
    scenario = generate(folder, lambda done, total, name: print(f"{done:4d} of {total}  {name}"))
    plain: list[dict[str, Any]] = list(scenario.steps)
    (folder / "scenario.json").write_text(json.dumps(plain, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    _main()
