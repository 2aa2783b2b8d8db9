"""Every page of the demo is fit for people who see, move or read differently (WCAG 2.2 A and AA, by axe-core's rules),
in light and dark, and fits a desk's screen and a tablet held upright."""

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.journeys.crawl import Reached, crawl, signed_in
from tests.journeys.demo import PEOPLE
from tests.journeys.person import Person
from tests.served import PASSWORD, Served

# As the program grows this only rises: a page that nobody can reach by links is lost.
LEAST_PAGES = 45


@pytest.fixture(scope="module")
def reached(demo_server: Served) -> Reached:
    with signed_in(demo_server.base, PEOPLE["manager"], PASSWORD) as client:
        return crawl(client)


def test_every_page_is_reached_from_today(reached: Reached) -> None:
    assert len(reached.pages) >= LEAST_PAGES, sorted(reached.pages)


@pytest.mark.parametrize(("theme", "width"), [("light", 1280), ("dark", 820)])
def test_no_page_has_barriers_or_is_wider_than_its_screen(
    screen: Callable[..., Page], reached: Reached, theme: str, width: int
) -> None:
    person = Person(screen(width, theme), PEOPLE["manager"], PASSWORD)
    person.sign_in()
    axe = Axe()
    found: dict[str, list[object]] = {}
    for address in reached.pages.values():
        settle(person, address)
        problems: list[object] = [
            (one["id"], [node["target"] for node in one["nodes"]][:3])
            for one in axe.run(person.page).response["violations"]
        ]
        over = person.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if over > 0:
            problems.append(f"{over} pixels too wide")
        if problems:
            found[address] = problems
    assert found == {}


def settle(person: Person, address: str) -> None:
    """Open a page and wait until its charts are drawn."""
    person.go(address)
    person.page.wait_for_function(
        "() => [...document.querySelectorAll('.chart')].every((it) => !it.checkVisibility() || 'ready' in it.dataset)"
    )


@pytest.mark.parametrize("route", ["GET /inbox", "GET /gains", "GET /vehicles/{vehicle_id:int}/dyno-sessions"])
def test_a_session_is_told_from_the_others_in_a_closed_list_on_a_phone(
    screen: Callable[..., Page], reached: Reached, route: str
) -> None:
    person = Person(screen(390), PEOPLE["manager"], PASSWORD)
    person.sign_in()
    settle(person, reached.pages[route])
    chosen = person.page.locator("main select").filter(has=person.page.locator("option", has_text=", engine ")).first
    options = [one for one in chosen.locator("option").all_text_contents() if ", engine " in one]
    # What a browser that shows one line leaves of them.
    assert len({one[:30] for one in options}) == len(options) > 1
    longest = max(options, key=len)
    lines = [chosen.evaluate(LINES, one) for one in (f"{longest}, transmission revision 12", "short")]
    assert lines[0] >= 2 and lines[1] == 1


# Shows a text in the closed list and counts the lines that it takes.
LINES = """(list, text) => {
  list.options[list.selectedIndex].text = text;
  const style = getComputedStyle(list);
  const inner = list.clientHeight - parseFloat(style.paddingTop) - parseFloat(style.paddingBottom);
  return Math.floor(inner / parseFloat(style.lineHeight));
}"""
