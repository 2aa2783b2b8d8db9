"""`revledger import-runs` and `revledger watch`: dyno files from a folder into the inbox."""

import contextlib
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from sqlalchemy import Engine

# Size in bytes and time of the last change.
State = tuple[int, float]
SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".asc", ".mf4", ".mdf")


def import_runs(
    files: Annotated[list[Path], typer.Argument(exists=True, help="Dyno files, or folders of them.")],
) -> None:
    """Take dyno files into the inbox of unattributed runs; files that are there already are left out."""
    from app.cli.database import open_database
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    taken = [_take(engine, path) for path in _listed(files)]
    if not all(taken):
        raise typer.Exit(1)


def watch(
    folder: Annotated[Path, typer.Argument(exists=True, file_okay=False, help="Folder that the dyno writes into.")],
    every: Annotated[float, typer.Option(min=0.5, help="Seconds between two looks.")] = 5.0,
    once: Annotated[bool, typer.Option("--once", help="Look once and stop.")] = False,
) -> None:
    """Watch a folder and take each finished dyno file into the inbox. Files are read, never moved or changed."""
    from app.cli.database import open_database
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    typer.echo(f"Watching {folder}  (Ctrl+C ends it)")
    seen: dict[Path, State] = {}
    done: dict[Path, State] = {}
    while True:
        before, seen = seen, _states(folder)
        for path, state in seen.items():
            # A file is finished when two looks find it unchanged.
            if (once or before.get(path) == state) and done.get(path) != state:
                _take(engine, path)
                done[path] = state
        if once:
            return
        time.sleep(every)


def _states(folder: Path) -> dict[Path, State]:
    """Size and time of each dyno file; one that is gone again, or a folder out of reach for now, is left out."""
    found = {}
    with contextlib.suppress(OSError):
        for path in _listed([folder]):
            with contextlib.suppress(OSError):
                known = path.stat()
                found[path] = (known.st_size, known.st_mtime)
    return found


def _listed(places: list[Path]) -> list[Path]:
    found = []
    for place in places:
        inside = sorted(place.iterdir()) if place.is_dir() else [place]
        found += [p for p in inside if p.is_file() and (not place.is_dir() or p.suffix.lower() in SUFFIXES)]
    return found


def _take(engine: "Engine", path: Path) -> bool:
    """One file, one transaction; a file that cannot be read is named and left alone."""
    from app.actions.add_inbox_item import add_inbox_item
    from app.calc.number_text import counted
    from app.errors import AppError, TooLarge
    from app.readers.dyno_file import read_dyno_file
    from app.record.engine import transaction
    from app.web.uploads import FILE_LIMIT

    try:
        if path.stat().st_size > FILE_LIMIT:
            raise TooLarge(f"The file is larger than {FILE_LIMIT >> 20} MiB; split it.")
        data = path.read_bytes()
        found = read_dyno_file(data)
        with transaction(engine) as session:
            _, known = add_inbox_item(
                session,
                person=None,
                at=datetime.now(UTC),
                uploaded=data,
                file_name=path.name,
                found=found,
                recorded_at=datetime.fromtimestamp(path.stat().st_mtime, UTC),
            )
    except (AppError, OSError) as error:
        typer.echo(f"{path.name}: {error}", err=True)
        return False
    pulls = counted(len(found.pulls), "pull")
    typer.echo(f"{path.name}: " + ("in the inbox already" if known else f"{pulls} into the inbox"))
    return True
