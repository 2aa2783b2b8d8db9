"""How the database is opened: durable, guarded, one writer at a time, and its refusals in words."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, event, select, text
from sqlalchemy.exc import OperationalError, StatementError

from app.errors import Conflict, StorageFailed
from app.record import people
from app.record.engine import make_engine, reading, storage_errors, transaction, wait_until_ready
from app.record.sqlite_copy import copy_sqlite
from app.record.tables import Person, Vehicle
from app.record.verify import verify
from tests.record.every_row import fill
from tests.shop import Shop

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL: sqlite.org/pragma.html#pragma_synchronous
        ("foreign_keys", 1),
        ("trusted_schema", 0),
        ("cell_size_check", 1),
        ("busy_timeout", 10_000),
    ],
)
def test_every_connection_is_opened_for_keeps(sqlite_engine: Engine, pragma: str, value: object) -> None:
    with sqlite_engine.connect() as first, sqlite_engine.execution_options(read_only=True).connect() as second:
        for connection in (first, second):
            assert connection.exec_driver_sql(f"pragma {pragma}").scalar_one() == value


def test_nothing_slips_in_while_reading(engine: Engine) -> None:
    with reading(engine) as session:
        Shop(session)
        session.flush()
    with reading(engine) as session:
        assert session.scalars(select(Person)).all() == []


def test_a_writer_waits_for_the_one_before(sqlite_engine: Engine) -> None:
    order: list[str] = []

    def second() -> None:
        with transaction(sqlite_engine) as session:
            people.add(session, name="Second", role="tuner", password_hash=None, at=AT)
            order.append("second")

    with transaction(sqlite_engine) as session:
        people.add(session, name="First", role="tuner", password_hash=None, at=AT)
        waiting = threading.Thread(target=second)
        waiting.start()
        time.sleep(0.3)
        order.append("first")
    waiting.join()
    assert order == ["first", "second"]


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (lambda data: b"This is no database." * 500, "is damaged. Run `revledger verify`"),
        (lambda data: data[:100] + bytes(4000) + data[4100:], "is damaged. Run `revledger verify`"),
        (lambda data: data[:20_000], "is damaged. Run `revledger verify`"),
    ],
    ids=["no database", "first page wiped", "cut off"],
)
def test_a_file_that_is_no_database_is_said_so(
    sqlite_template: Path, tmp_path: Path, damage: Callable[[bytes], bytes], sentence: str
) -> None:
    file = tmp_path / "damaged.db"
    file.write_bytes(damage(sqlite_template.read_bytes()))
    engine = make_engine(f"sqlite:///{file}")
    with pytest.raises(StorageFailed, match=sentence), reading(engine) as session:
        session.scalars(select(Vehicle)).all()
        verify(session)
    engine.dispose()


def test_a_database_that_may_not_be_written_is_said_so(sqlite_engine: Engine) -> None:
    with sqlite_engine.connect() as connection:
        connection.exec_driver_sql("pragma query_only = on")
        with pytest.raises(StorageFailed, match="read-only: nothing was saved"), storage_errors():
            connection.execute(text("delete from sign_in"))
        connection.exec_driver_sql("pragma query_only = off")


def test_a_busy_database_asks_to_send_again(sqlite_engine: Engine) -> None:
    impatient = make_engine(str(sqlite_engine.url))
    event.listen(impatient, "connect", lambda connection, _record: connection.execute("pragma busy_timeout = 50"))
    with transaction(sqlite_engine) as session:
        people.add(session, name="Ada", role="tuner", password_hash=None, at=AT)
        with pytest.raises(StorageFailed, match="Send it again in a moment"), transaction(impatient) as other:
            people.anyone(other)
    with transaction(impatient) as other:
        assert people.anyone(other)
    impatient.dispose()


def test_a_naive_moment_never_reaches_the_record(engine: Engine) -> None:
    with pytest.raises(StatementError, match="without time zone"), transaction(engine) as session:
        people.add(session, name="Ada", role="tuner", password_hash=None, at=datetime(2026, 1, 1))


def test_a_server_that_does_not_answer_ends_the_wait() -> None:
    nowhere = make_engine("postgresql+psycopg://nobody@127.0.0.1:9/none?connect_timeout=1")
    began = time.monotonic()
    with pytest.raises(OperationalError):
        wait_until_ready(nowhere, seconds=0.2)
    assert time.monotonic() - began < 10


def test_a_copy_made_while_others_write_is_whole(sqlite_engine: Engine, tmp_path: Path) -> None:
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        fill(shop)
    stop = threading.Event()
    written: list[int] = []

    def write() -> None:
        number = 500
        while not stop.is_set():
            number += 1
            with transaction(sqlite_engine) as session:
                mine = Shop.__new__(Shop)
                mine.__dict__.update(shop.__dict__ | {"session": session, "_cars": number})
                mine.car()
            written.append(number)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            acknowledged = len(written)
            copy = tmp_path / f"copy-{number}.db"
            copy_sqlite(tmp_path / "revledger.db", copy)
            engine = make_engine(f"sqlite:///{copy}")
            with reading(engine) as session:
                assert verify(session).clean
                assert session.execute(text("pragma integrity_check")).scalar_one() == "ok"
                assert len(session.scalars(select(Vehicle)).all()) >= 1 + acknowledged
            engine.dispose()
    finally:
        stop.set()
        writer.join()
    assert len(written) > 5


def test_a_backup_is_never_overwritten(sqlite_engine: Engine, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    copy_sqlite(tmp_path / "revledger.db", copy)
    before = copy.read_bytes()
    with pytest.raises(Conflict, match="exists already; name another file"):
        copy_sqlite(tmp_path / "revledger.db", copy)
    assert copy.read_bytes() == before
