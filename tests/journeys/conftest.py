"""Journeys go through the screens of a running server only: a real browser, real HTTP, real files, no mocks.

Do: sign in through the page, find things by their labels and headings, read what a person would read.
Do not: call actions, look into the database, change the server while it runs.
"""

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.journeys.chromium import FLAGS, executable
from tests.journeys.demo import PEOPLE, load_demo
from tests.journeys.person import Person
from tests.journeys.watch import Watch
from tests.served import PASSWORD, Served, serving


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return load_demo(tmp_path_factory.mktemp("journeys") / "demo.db", datetime.now(UTC))


@pytest.fixture(scope="module")
def scripts() -> bool:
    """Whether the browser runs scripts. A module whose journeys must also be possible without overrides this with
    both; every way gets a server of its own."""
    return True


@pytest.fixture(scope="module")
def demo_server(demo_file: Path, scripts: bool, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server on a copy of the demo, so that one journey's work does not lie in another's way."""
    file = tmp_path_factory.mktemp("served") / "demo.db"
    shutil.copyfile(demo_file, file)
    with serving(file) as served:
        yield served


@pytest.fixture(scope="module")
def real_browser() -> Iterator[Browser]:
    """Chromium. Of a module, not of the session: only one Playwright may run at a time, and others start their own."""
    try:
        file = executable()
    except FileNotFoundError as missing:
        pytest.fail(str(missing))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=file, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def screen(real_browser: Browser, demo_server: Served, scripts: bool) -> Iterator[Callable[..., Page]]:
    """Opens pages that are watched: what a browser complains of fails the test when it ends."""
    opened: list[BrowserContext] = []
    watches: list[Watch] = []

    def open_page(width: int = 1280, theme: str = "light") -> Page:
        context = real_browser.new_context(
            viewport={"width": width, "height": 900},
            base_url=demo_server.base,
            color_scheme="dark" if theme == "dark" else "light",
            java_script_enabled=scripts,
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
def signed_in(screen: Callable[..., Page], scripts: bool) -> Callable[[str], Person]:
    """Somebody of the workshop who has signed in through the page, by role."""

    def of(role: str) -> Person:
        person = Person(screen(), PEOPLE[role], PASSWORD, scripts=scripts)
        person.sign_in()
        return person

    return of
