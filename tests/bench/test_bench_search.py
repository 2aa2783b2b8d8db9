"""Finding a car among many, through the same function as the pages: beside a scan of every row, and as p95."""

import random
import statistics
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.orm import Session

from app.record import vehicles
from app.record.engine import reading
from app.record.search import folded, search_text
from app.record.tables import Customer, Vehicle

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
SOUNDS = ("ba", "dor", "el", "fen", "gri", "ha", "jo", "kar", "lin", "mo", "nu", "pet", "ro", "sa", "tov", "ul", "ves")
MODELS = (
    ("Corvane", "Astrel"), ("Velmora", "Sirrus"), ("Tarkess", "Lanner"), ("Ondrake", "Hauler"), ("Fenmark", "Piper"),
    ("Brennick", "Warder"), ("Sillion", "Merle"),
)  # fmt: skip
AT_ONCE = 20_000
OFF = ("vehicle_search_insert", "vehicle_no_replace")
TRIGGERS = f"select sql from sqlite_schema where type = 'trigger' and name in {OFF}"


def car_of(number: int) -> dict[str, object]:
    """A car of the invented fleet; the same for the same number."""
    draw = random.Random(number)
    make, model = draw.choice(MODELS)
    name = " ".join("".join(draw.choices(SOUNDS, k=draw.randint(2, 4))).capitalize() for _ in range(2))
    car = Vehicle(
        vin="UU9" + "".join(draw.choices(LETTERS, k=7)) + f"{number:07d}",
        plate="".join(draw.choices(LETTERS[:23], k=2)) + " " + "".join(draw.choices(LETTERS, k=5)),
        make=make,
        model=model,
        engine=f"{draw.choice((1.2, 1.8, 2.0, 3.6))} L",
    )
    return {
        "vin": car.vin,
        "plate": car.plate,
        "make": make,
        "model": model,
        "engine": car.engine,
        "fuel": "petrol",
        "boosted": False,
        "hybrid": False,
        "driven_axles": "rear",
        "gear_ratios": [],
        "tyre": "",
        "legal_basis": "",
        "loses_coding": True,
        "search_text": search_text(car, Customer(name=name)),
        "pinned": False,
        "made_at": AT,
        "changed_at": AT,
        "name": name,
    }


def fill(engine: Engine, count: int) -> None:
    """Rows straight into the table; the index is made once behind them, as for a record that was moved here."""
    sqlite = engine.dialect.name == "sqlite"
    with engine.begin() as connection:
        triggers = connection.scalars(text(TRIGGERS)).all() if sqlite else []
        for name in OFF if sqlite else ():
            connection.execute(text(f"drop trigger {name}"))
        if not sqlite:
            connection.execute(text("drop index ix_vehicle_trigrams"))
        for first in range(1, count + 1, AT_ONCE):
            rows = [car_of(number) for number in range(first, min(first + AT_ONCE, count + 1))]
            connection.execute(
                Vehicle.__table__.insert(), [{k: v for k, v in row.items() if k != "name"} for row in rows]
            )
        if sqlite:
            connection.execute(text("insert into vehicle_search(vehicle_search) values ('rebuild')"))
            for statement in triggers:
                connection.exec_driver_sql(statement)
        else:
            connection.execute(text("create index ix_vehicle_trigrams on vehicle using gin (trigrams(search_text))"))
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("analyze vehicle" if not sqlite else "analyze"))


def queries(count: int, number: int = 200) -> list[str]:
    """What is typed at a front desk: the end of a VIN, a part of a plate, a name, a model with a part of the plate."""
    draw = random.Random(count)
    found = []
    for _ in range(number):
        car = car_of(draw.randint(1, count))
        vin, plate, name = str(car["vin"]), str(car["plate"]), str(car["name"])
        pieces = (vin[-6:], vin[3:9], plate, plate[3:], name, f"{car['model']} {plate[:2]}{plate[3:6]}")
        found.append(draw.choice(pieces))
    return found


def scanned(session: Session, query: str) -> list[int]:
    """The same question without the index: every row is looked into until enough are found."""
    statement = select(Vehicle.id).order_by(Vehicle.id.desc()).limit(30)
    for word in folded(query).split():
        statement = statement.where(Vehicle.search_text.contains(word, autoescape=True))
    return list(session.scalars(statement))


def indexed(session: Session, query: str) -> list[int]:
    """As `vehicles.search` asks, without making objects of the rows."""
    statement = vehicles.matching(session.get_bind().dialect.name, query)
    return list(session.scalars(statement.with_only_columns(Vehicle.id).limit(30)))


def times(clock: Callable[[], float], ask: Callable[[str], object], asked: list[str]) -> list[float]:
    taken = []
    for query in asked:
        begin = clock()
        ask(query)
        taken.append(clock() - begin)
    return taken


def p95(taken: list[float]) -> float:
    return statistics.quantiles(taken, n=20)[-1]


@pytest.fixture(
    params=[
        pytest.param(("sqlite", 100_000), id="SQLite, 100,000"),
        pytest.param(("sqlite", 1_000_000), id="SQLite, 1,000,000", marks=pytest.mark.release),
        pytest.param(("postgresql", 1_000_000), id="PostgreSQL, 1,000,000", marks=pytest.mark.release),
    ]
)
def fleet(request: pytest.FixtureRequest) -> Iterator[tuple[Session, int]]:
    dialect, count = request.param
    engine: Engine = request.getfixturevalue(f"{dialect}_engine")
    fill(engine, count)
    with reading(engine) as session:
        yield session, count


def test_a_car_is_found_at_a_fraction_of_the_cost_of_a_scan(fleet: tuple[Session, int]) -> None:
    """The answers are the same, and 19 of 20 queries cost at most a quarter of what a scan costs at the median; among a
    million cars a tenth."""
    session, count = fleet
    asked = queries(count)
    for query in asked[:40]:
        assert indexed(session, query) == scanned(session, query), query
        assert indexed(session, query) == [vehicle.id for vehicle in vehicles.search(session, query, limit=30)]
    # SQLite works in this thread, whose own time others on the machine disturb least; PostgreSQL in another process.
    clock = time.thread_time if session.get_bind().dialect.name == "sqlite" else time.perf_counter
    times(clock, lambda query: indexed(session, query), asked)
    taken = times(clock, lambda query: indexed(session, query), asked)
    scans = times(clock, lambda query: scanned(session, query), asked[:40])
    print(
        f"\n{session.get_bind().dialect.name}, {count:,} cars: index median {1e3 * statistics.median(taken):.2f} ms, "
        f"p95 {1e3 * p95(taken):.2f} ms; scan median {1e3 * statistics.median(scans):.1f} ms"
    )
    assert p95(taken) < statistics.median(scans) / (4 if count <= 100_000 else 10)


def test_two_characters_are_searched_newest_first_and_cost_no_more_than_a_scan(fleet: tuple[Session, int]) -> None:
    session, _ = fleet
    assert indexed(session, "uu") == scanned(session, "uu")
    assert indexed(session, "ä ß") == scanned(session, "ä ß")
