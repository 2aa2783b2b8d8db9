"""Journeys go through the screens of a running server only: a real browser, real HTTP, real files, no mocks.

Do: sign in through the page, find things by their labels and headings, read what a person would read.
Do not: call actions, look into the database, change the server while it runs.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from app.actions.change_person import change_person
from app.record import people
from app.record.engine import make_engine, transaction
from app.record.migrate import upgrade
from app.seed import load
from tests.journeys.person import Person
from tests.journeys.watch import Watch
from tests.served import PASSWORD, Served, serving

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PEOPLE = {
    "manager": "Mira Talvik",
    "tuner": "Oskar Dunmore",
    "second_tuner": "Edda Pell",
    "front_desk": "Tomas Arkwell",
}


def chromium_file() -> str | None:
    """The browser that CHROMIUM names, or the one on the path."""
    return os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented workshop's year, loaded once; everybody got the same password."""
    file = tmp_path_factory.mktemp("journeys") / "demo.db"
    engine = make_engine(f"sqlite:///{file}")
    upgrade(engine)
    load(engine, now=datetime.now(UTC))
    with transaction(engine) as session:
        for name in PEOPLE.values():
            person = people.by_name(session, name)
            assert person is not None
            change_person(session, person=None, at=datetime.now(UTC), person_id=person.id, password=PASSWORD)
    engine.dispose()
    return file


@pytest.fixture(scope="module")
def demo_server(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server on a copy of the demo, so that one journey's work does not lie in another's way."""
    file = tmp_path_factory.mktemp("served") / "demo.db"
    shutil.copyfile(demo_file, file)
    with serving(file) as served:
        yield served


@pytest.fixture(scope="module")
def real_browser() -> Iterator[Browser]:
    """Chromium. Of a module, not of the session: only one Playwright may run at a time, and others start their own."""
    executable = chromium_file()
    if executable is None or not Path(executable).exists():
        pytest.fail("Chromium is missing: install it (apt-get install chromium) or name it in CHROMIUM.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def screen(real_browser: Browser, demo_server: Served) -> Iterator[Callable[..., Page]]:
    """Opens pages that are watched: what a browser complains of fails the test when it ends."""
    opened: list[BrowserContext] = []
    watches: list[Watch] = []

    def open_page(width: int = 1280, theme: str = "light") -> Page:
        context = real_browser.new_context(
            viewport={"width": width, "height": 900},
            base_url=demo_server.base,
            color_scheme="dark" if theme == "dark" else "light",
        )
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        watches.append(Watch(page, demo_server.base))
        return page

    yield open_page
    for context in opened:
        context.close()
    assert [line for watch in watches for line in watch.complaints] == []


@pytest.fixture
def signed_in(screen: Callable[..., Page]) -> Callable[[str], Person]:
    """Somebody of the workshop who has signed in through the page, by role."""

    def of(role: str) -> Person:
        person = Person(screen(), PEOPLE[role], PASSWORD)
        person.sign_in()
        return person

    return of
