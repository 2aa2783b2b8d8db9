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
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if target.exists():
        kept = target.with_name(f"{target.stem}.replaced.{datetime.now(UTC):%Y%m%dT%H%M%SZ}{target.suffix}")
        copy_sqlite(target, kept)
        for suffix in ("", "-wal", "-shm"):
            target.with_name(target.name + suffix).unlink(missing_ok=True)
        typer.echo(f"The database as it was is kept in {kept}.")
    copy_sqlite(source, target)
    upgrade(make_engine(f"sqlite:///{target}"))
    typer.echo(f"Recovered: {found.sentence}")
