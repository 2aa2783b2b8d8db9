"""`revledger backup` and `revledger recover`: a consistent copy while serving, verified after writing."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer


def backup(
    destination: Annotated[Path, typer.Argument(help="File to write, or a folder that gets a dated file.")],
) -> None:
    """Copy the database while it is in use, then check the copy whole; the journal head stands in its name."""
    from app.cli.database import open_database
    from app.errors import BadInput
    from app.record import journal
    from app.record.engine import make_engine, reading
    from app.record.sqlite_copy import copy_sqlite
    from app.record.verify import verify
    from app.settings import from_environment, sqlite_file

    settings = from_environment()
    source = sqlite_file(settings.database_url)
    if source is None:
        raise BadInput("This record lies in PostgreSQL: back it up with pg_dump, then run revledger verify on a copy.")
    engine, _ = open_database(settings)
    with reading(engine) as session:
        head = journal.head(session).short
    target = destination
    if destination.is_dir():
        target = destination / f"revledger-{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{head}.db"
    copy_sqlite(source, target)
    with reading(make_engine(f"sqlite:///{target}")) as session:
        found = verify(session)
    typer.echo(f"{target}: {found.sentence}")
    if not found.clean:
        typer.echo("\n".join(found.findings))
        raise typer.Exit(1)


def recover(
    source: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A backup to recover.")],
) -> None:
    """Check a backup, keep today's database beside it, and put the backup in its place. Stop the server first."""
    from app.cli.database import make_folder
    from app.errors import BadInput, Conflict
    from app.record.engine import make_engine, reading
    from app.record.migrate import upgrade
    from app.record.sqlite_copy import copy_sqlite
    from app.record.verify import verify
    from app.settings import from_environment, sqlite_file

    target = sqlite_file(from_environment().database_url)
    if target is None:
        raise BadInput("This record lies in PostgreSQL: recover it with pg_restore.")
    with reading(make_engine(f"sqlite:///{source}")) as session:
        found = verify(session)
    if not found.clean:
        raise Conflict("The backup does not hold, so nothing was changed.", details=found.findings)
    make_folder(target.parent)
    incoming = target.with_name(f"{target.name}.incoming")
    incoming.unlink(missing_ok=True)
    copy_sqlite(source, incoming)
    engine = make_engine(f"sqlite:///{incoming}")
    upgrade(engine)
    engine.dispose()
    if target.exists():
        typer.echo(f"The database as it was is kept in {_set_aside(target)}.")
    incoming.rename(target)
    typer.echo(f"Recovered: {found.sentence}")


def _set_aside(database: Path) -> Path:
    """Give the database another name, with what belongs to it: it may be too damaged to be copied."""
    kept = database.with_name(f"{database.stem}.replaced.{datetime.now(UTC):%Y%m%dT%H%M%SZ}{database.suffix}")
    for suffix in ("", "-wal", "-shm"):
        part = database.with_name(database.name + suffix)
        if part.exists():
            part.rename(kept.with_name(kept.name + suffix))
    return kept
