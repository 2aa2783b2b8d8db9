"""A consistent copy of a SQLite database while others use it."""

import os
from pathlib import Path

import pysqlite3.dbapi2

from app.errors import Conflict


def copy_sqlite(source: Path, destination: Path) -> None:
    """Copy in one step (page by page would start again with every write), and only then give it its name.

    Raises `Conflict` when the destination exists: a backup is never overwritten.
    """
    if destination.exists():
        raise Conflict(f"{destination} exists already; name another file.")
    unfinished = destination.with_name(destination.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    reader = pysqlite3.dbapi2.connect(str(source))
    writer = pysqlite3.dbapi2.connect(str(unfinished))
    try:
        reader.backup(writer, pages=-1)
    finally:
        writer.close()
        reader.close()
    with unfinished.open("rb") as written:
        os.fsync(written.fileno())
    unfinished.rename(destination)
