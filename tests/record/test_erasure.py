"""What was erased on request is not legible in the database file either."""

from datetime import UTC, datetime
from pathlib import Path

import pysqlite3.dbapi2
from sqlalchemy import Engine

from app.actions.erase_customer import erase_customer
from app.record import people
from app.record.engine import transaction
from tests.shop import Shop

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
CARS = 30


def legible(file: Path) -> int:
    """How often the name stands in the database file and its log, in any case, after the log was worked in."""
    with pysqlite3.dbapi2.connect(str(file)) as connection:
        connection.execute("pragma wal_checkpoint(truncate)")
    connection.close()
    parts = [file.with_name(file.name + ending) for ending in ("", "-wal")]
    return sum(part.read_bytes().lower().count(b"vessmer") for part in parts if part.exists())


def test_an_erased_name_is_gone_from_the_bytes_of_the_file(sqlite_engine: Engine) -> None:
    file = Path(str(sqlite_engine.url.database))
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        customers = [shop.car(customer_name=f"Vessmer Ottoline {number}").customer_id for number in range(CARS)]
        manager = people.add(session, name="Mara", role="manager", password_hash=None, at=AT)
    assert legible(file) >= 2 * CARS  # in the customer's row and in the text that is searched
    with transaction(sqlite_engine) as session:
        for one in customers:
            assert one is not None
            erase_customer(session, person=manager, at=AT, customer_id=one)
    sqlite_engine.dispose()
    assert legible(file) == 0
