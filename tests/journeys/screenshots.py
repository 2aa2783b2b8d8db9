"""Pictures of every page for people who review the look; not part of the tests.

    python -m tests.journeys.screenshots OUTDIR

Writes OUTDIR/{desktop,tablet,phone}-{light,dark}/NAME.png for one page of each route that the manager reaches, and
OUTDIR/print/*.pdf for the certificate and the customer's report.
"""

import argparse
import re
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.journeys.chromium import FLAGS, executable
from tests.journeys.crawl import Reached, crawl, signed_in
from tests.journeys.demo import PEOPLE, load_demo
from tests.journeys.person import Person
from tests.served import PASSWORD, Served, serving

SCREENS = {"desktop": (1280, 900), "tablet": (820, 1180), "phone": (390, 844)}
THEMES = ("light", "dark")
PRINTED = ("/certificate", "/gains/report")
DRAWN = "() => [...document.querySelectorAll('.chart')].every((it) => !it.checkVisibility() || 'ready' in it.dataset)"


def name_of(route: str) -> str:
    """A file name from a route: "GET /vehicles/{vehicle_id:int}/edit" → "vehicles-vehicle_id-edit"."""
    return (
        re.sub(r"[^\w]+", "-", route.removeprefix("GET ").replace(":int", "").replace(":path", "")).strip("-")
        or "today"
    )


def open_page(browser: Browser, served: Served, screen: str, theme: str) -> Page:
    width, height = SCREENS[screen]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        base_url=served.base,
        color_scheme="dark" if theme == "dark" else "light",
    )
    page = context.new_page()
    Person(page, PEOPLE["manager"], PASSWORD).sign_in()
    return page


def picture(browser: Browser, served: Served, reached: Reached, out: Path) -> int:
    """All pages on all screens; how many pictures were taken."""
    taken = 0
    for screen in SCREENS:
        for theme in THEMES:
            folder = out / f"{screen}-{theme}"
            folder.mkdir(parents=True, exist_ok=True)
            page = open_page(browser, served, screen, theme)
            for route, address in reached.pages.items():
                page.goto(address)
                page.wait_for_function(DRAWN)
                page.screenshot(path=folder / f"{name_of(route)}.png", full_page=True)
                taken += 1
            page.context.close()
    return taken


def print_sheets(browser: Browser, served: Served, reached: Reached, out: Path) -> int:
    """The sheets that leave the shop, as they come out of the printer."""
    folder = out / "print"
    folder.mkdir(parents=True, exist_ok=True)
    page = open_page(browser, served, "desktop", "light")
    sheets = {route: at for route, at in reached.pages.items() if route.endswith(PRINTED)}
    for route, address in sheets.items():
        page.goto(address)
        page.wait_for_function(DRAWN)
        page.pdf(path=folder / f"{name_of(route)}.pdf", format="A4")
    page.context.close()
    return len(sheets)


def main() -> None:
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("folder", type=Path, help="where the pictures go; made when it does not exist")
    out: Path = parser.parse_args().folder
    with tempfile.TemporaryDirectory(prefix="revledger-screens-") as scratch:
        file = load_demo(Path(scratch) / "demo.db", datetime.now(UTC))
        with serving(file) as served, sync_playwright() as playwright:
            with signed_in(served.base, PEOPLE["manager"], PASSWORD) as client:
                reached = crawl(client)
            browser = playwright.chromium.launch(executable_path=executable(), args=FLAGS)
            pictures = picture(browser, served, reached, out)
            sheets = print_sheets(browser, served, reached, out)
            browser.close()
    print(f"{pictures} pictures of {len(reached.pages)} pages and {sheets} printed sheets lie in {out}.")


if __name__ == "__main__":
    main()
