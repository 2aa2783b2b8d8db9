"""The database: SQLite (from the wheel, so that its version is ours to choose) or PostgreSQL by URL."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pysqlite3.dbapi2
from sqlalchemy import Engine, ExceptionContext, create_engine, event
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.orm import Session

from app.errors import BadInput, StorageFailed
from app.record.column_limits import refuse_what_does_not_fit

BUSY_MS = 10_000
_PRAGMAS = (
    f"busy_timeout={BUSY_MS}",  # first: the switch to WAL itself may have to wait
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    "trusted_schema=OFF",
    "cell_size_check=ON",
    "secure_delete=ON",  # a customer's erased name must not stay legible in the file's free space
    "journal_size_limit=67108864",
)


def make_engine(url: str) -> Engine:
    """An engine whose write transactions begin IMMEDIATE on SQLite.

    A deferred BEGIN that later turns into a write fails at once with SQLITE_BUSY when another writer was faster,
    whatever the timeout; an immediate one waits its turn. Sessions that only read pass
    `execution_options={"read_only": True}`.
    """
    if not url.startswith("sqlite"):
        engine = create_engine(url, pool_pre_ping=True)
        event.listen(engine, "handle_error", _refuse_far_numbers)
        return engine
    engine = create_engine(url, module=pysqlite3.dbapi2, connect_args={"check_same_thread": False})
    event.listen(engine, "handle_error", _refuse_far_numbers)

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not guess where BEGIN goes
        cursor = connection.cursor()
        try:
            for pragma in _PRAGMAS:
                cursor.execute("PRAGMA " + pragma)
        except (pysqlite3.dbapi2.DatabaseError, UnicodeDecodeError) as error:
            if _is_damage(error):
                raise StorageFailed(_STORAGE["SQLITE_CORRUPT"]) from error
            raise
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        read_only = connection.get_execution_options().get("read_only", False)
        connection.exec_driver_sql("BEGIN" if read_only else "BEGIN IMMEDIATE")

    return engine


def _refuse_far_numbers(context: ExceptionContext) -> None:
    """A number in an address may have any length; one beyond what the database holds names nothing on record."""
    error = context.original_exception
    if isinstance(error, OverflowError) or getattr(error, "sqlstate", None) == "22003":
        raise BadInput("A number is larger than any in the record; check the address or the field.") from error


def open_session(engine: Engine, *, read_only: bool = False) -> Session:
    """A session on `engine`; nothing expires at commit, so that values stay readable after it."""
    session = Session(
        engine,
        expire_on_commit=False,
        execution_options={"read_only": True} if read_only else {},
    )
    if not read_only:
        refuse_what_does_not_fit(session)
    return session


@contextmanager
def transaction(engine: Engine) -> Iterator[Session]:
    """One write transaction: commits when the block ends, rolls back when it raises."""
    session = open_session(engine)
    with storage_errors(), session, session.begin():
        yield session


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """A session that only reads; it is rolled back at the end, so nothing can slip in."""
    with storage_errors(), open_session(engine, read_only=True) as session:
        try:
            yield session
        finally:
            session.rollback()


_STORAGE = {
    "SQLITE_FULL": "The disk is full: nothing was saved. Free some space and send it again.",
    "SQLITE_IOERR": "The disk refused the write: nothing was saved. Check the disk and send it again.",
    "SQLITE_BUSY": "The database is busy with another write: nothing was saved. Send it again in a moment.",
    "SQLITE_READONLY": "The database file is read-only: nothing was saved. Check its permissions.",
    "SQLITE_CORRUPT": "The database file is damaged. Run `revledger verify`, then recover from a backup.",
    "SQLITE_NOTADB": "The database file is damaged. Run `revledger verify`, then recover from a backup.",
}


@contextmanager
def storage_errors() -> Iterator[None]:
    """Turn what the disk or the database refuses into one sentence for a person."""
    try:
        yield
    except DBAPIError as error:
        name = str(getattr(error.orig, "sqlite_errorname", ""))
        for prefix, sentence in _STORAGE.items():
            if name.startswith(prefix):
                raise StorageFailed(sentence) from error
        sqlstate = str(getattr(error.orig, "sqlstate", "") or "")
        if sqlstate.startswith("53"):  # PostgreSQL class 53: insufficient resources
            raise StorageFailed(_STORAGE["SQLITE_FULL"]) from error
        raise


def _is_damage(error: Exception) -> bool:
    """Whether SQLite could not make sense of the file, down to names in its schema that are no text any more."""
    name = str(getattr(error, "sqlite_errorname", ""))
    return isinstance(error, UnicodeDecodeError) or name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))


def is_serialization_failure(error: DBAPIError) -> bool:
    """PostgreSQL asks for a retry (class 40)."""
    return str(getattr(error.orig, "sqlstate", "") or "").startswith("40")


def sqlite_version() -> str:
    return str(pysqlite3.dbapi2.sqlite_version)


def wait_until_ready(engine: Engine, seconds: float = 10.0) -> None:
    """Wait until the database answers; raises the last error after `seconds`."""
    deadline = time.monotonic() + seconds
    while True:
        try:
            with engine.connect() as connection:
                connection.exec_driver_sql("SELECT 1")
            return
        except OperationalError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)
