"""Open the database of the settings: made when missing, backed up and migrated when it is older than the program."""

from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from app.errors import StorageFailed
from app.record.engine import make_engine, wait_until_ready
from app.record.migrate import current_version, newest_version, upgrade
from app.record.sqlite_copy import copy_sqlite
from app.settings import Settings, sqlite_file

# A database server that starts together with this program needs a moment.
_PATIENCE_S = 10.0


def make_folder(folder: Path) -> None:
    """The folder of a database; raises `StorageFailed`.

    The record is for the person who runs the server, not for every account on the machine.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise StorageFailed(
            f"The folder {folder} cannot be made ({error.strerror}); choose another place for the database."
        ) from None


def make_file(file: Path) -> None:
    """An empty file for a database where there is none; raises `StorageFailed`."""
    make_folder(file.parent)
    try:
        if not file.exists():
            file.touch(mode=0o600)
    except OSError as error:
        raise StorageFailed(
            f"{file} cannot be made ({error.strerror}); choose another place for the database."
        ) from None


def _answering(database_url: str) -> Engine:
    try:
        engine = make_engine(database_url)
        wait_until_ready(engine, _PATIENCE_S)
    except (SQLAlchemyError, ModuleNotFoundError):
        raise StorageFailed(
            "The database does not answer; check REVLEDGER_DATABASE_URL and that its server runs."
        ) from None
    return engine


def open_database(settings: Settings) -> tuple[Engine, Path | None]:
    """The engine, and the backup that was made before a migration (SQLite; None when none was needed)."""
    file = sqlite_file(settings.database_url)
    if file is not None:
        make_file(file)
    engine = _answering(settings.database_url)
    version = current_version(engine)
    backup: Path | None = None
    if version != newest_version():
        if file is not None and version is not None:
            moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
            backup = file.with_name(f"{file.stem}.before-{newest_version()}.{moment}{file.suffix}")
            copy_sqlite(file, backup)
        upgrade(engine)
    return engine, backup
