"""A consistent copy of a SQLite database while others use it."""

import contextlib
import os
from contextlib import closing
from pathlib import Path

import pysqlite3.dbapi2

from app.errors import Conflict, StorageFailed


def copy_sqlite(source: Path, destination: Path) -> None:
    """Copy in one step (page by page would start again with every write), and only then give it its name.

    Raises `Conflict` when the destination exists: a backup is never overwritten; `StorageFailed` when it cannot be
    written, or the source cannot be read to its end.
    """
    if destination.exists():
        raise Conflict(f"{destination} exists already; name another file.")
    unfinished = destination.with_name(destination.name + ".unfinished")
    try:
        unfinished.unlink(missing_ok=True)
        unfinished.touch(mode=0o600)  # like the database itself, it is for whoever runs the server
        _copy(source, unfinished)
        with unfinished.open("rb") as written:
            os.fsync(written.fileno())
        unfinished.rename(destination)
    except (OSError, pysqlite3.dbapi2.Error) as error:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
        reason = getattr(error, "strerror", None) or error
        raise StorageFailed(f"{destination} cannot be written ({reason}); nothing was kept.") from error


def _copy(source: Path, destination: Path) -> None:
    with (
        closing(pysqlite3.dbapi2.connect(str(source))) as reader,
        closing(pysqlite3.dbapi2.connect(str(destination))) as writer,
    ):
        reader.backup(writer, pages=-1)
