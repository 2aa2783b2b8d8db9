"""The page of parts in a real browser under the program's own guard: scripts, charts, keys, accessibility, paper."""

import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from jinja2 import ChoiceLoader, FileSystemLoader, Template
from playwright.sync_api import Browser, Page, sync_playwright
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from app.web import assets
from app.web.guard import Guard
from app.web.page import Chrome, environment

CHARTS = 7
# Plotly's heat map tries to write a style that the policy refuses; it stands without.
KNOWN_REFUSALS = 1


def _chrome(theme: str) -> Chrome:
    return Chrome(
        title="Parts of the look",
        person=("A. Vantor", "Tuner"),
        theme=theme,
        units="kW, N·m, °C",
        nav=(("Today", "/", True), ("Vehicles", "/vehicles", False), ("Journal", "/journal", False)),
        notices=("The inbox holds 4 runs that nobody attributed.",),
        coding_pending=(("ZQ-114", "#status", "flashed at 10:42, the snapshot waits to be written back."),),
        shop_name="Vantor Motorwerk",
        form_key="k1",
        demo=True,
        journal_head="9b0e6f4f0c7c0d1f",
    )


@dataclass
class Served:
    """What the pages sent, beside where they are."""

    base: str = ""
    posted: list[tuple[str, str]] = field(default_factory=list)


def _page() -> Template:
    """The page of all parts, beside the program's own templates."""
    ours = environment()
    assert ours.loader is not None
    beside = FileSystemLoader(Path(__file__).parent)
    return ours.overlay(loader=ChoiceLoader([ours.loader, beside])).get_template("parts/page.html")


def _application(served: Served) -> Guard:
    def parts(request: Request) -> Response:
        theme = request.query_params.get("theme", "light")
        return HTMLResponse(_page().render(chrome=_chrome(theme)))

    async def take(request: Request) -> Response:
        served.posted.append((request.url.path, (await request.body()).decode()))
        return PlainTextResponse("taken")

    def refuse(_request: Request) -> Response:
        return HTMLResponse('<p class="form-errors">Not in the record.</p>', 404)

    routes = [
        Route("/", parts),
        Route("/static/{version}/{path:path}", assets.serve),
        Route("/parts", take, methods=["POST"]),
        Route("/missing", refuse),
        Route("/theme", take, methods=["POST"]),
    ]
    return Guard(Starlette(routes=routes), hosts=(), secure=False)


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    seen = Served()
    server = uvicorn.Server(uvicorn.Config(_application(seen), port=0, log_level="warning", ws="none", lifespan="off"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    seen.base = f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    yield seen
    server.should_exit = True
    thread.join()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    flags = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        yield browser
        browser.close()


def _open(chromium: Browser, served: Served, theme: str = "light", width: int = 1280, **options: Any) -> Page:
    page = chromium.new_page(viewport={"width": width, "height": 900}, **options)
    page.set_default_timeout(20_000)
    page.goto(f"{served.base}/?theme={theme}")
    if options.get("java_script_enabled", True):
        page.wait_for_function(f"() => document.querySelectorAll('.chart[data-ready]').length === {CHARTS}")
    return page


@pytest.fixture
def page(chromium: Browser, served: Served) -> Iterator[Page]:
    """The page with its charts drawn."""
    opened = _open(chromium, served)
    yield opened
    opened.close()


@pytest.fixture
def plain_page(chromium: Browser, served: Served) -> Iterator[Page]:
    """The page when the charting library does not arrive, which is also faster."""
    opened = chromium.new_page(viewport={"width": 1280, "height": 900})
    opened.route("**/plotly.js", lambda route: route.abort())
    opened.goto(served.base)
    opened.wait_for_function(f"() => document.querySelectorAll('.chart[data-failed]').length === {CHARTS}")
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("theme", "width"),
    [
        ("light", 1280),
        ("dark", 820),
        ("light", 390),
        *(pytest.param(*one, marks=pytest.mark.release) for one in (("dark", 1280), ("light", 820), ("dark", 390))),
    ],
)
def test_the_look_is_accessible_and_fits_its_screen(chromium: Browser, served: Served, theme: str, width: int) -> None:
    page = _open(chromium, served, theme, width)
    found = Axe().run(page).response["violations"]
    assert [(one["id"], [node["target"] for node in one["nodes"]]) for one in found] == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.close()


def test_charts_stand_under_the_policy_and_nothing_leaves_the_machine(chromium: Browser, served: Served) -> None:
    page = chromium.new_page()
    foreign: list[str] = []
    broken: list[str] = []
    page.on("request", lambda request: foreign.append(request.url) if not _ours(request.url, served) else None)
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.on("console", lambda message: broken.append(message.text) if message.type == "error" else None)
    page.goto(served.base)
    page.wait_for_function(f"() => document.querySelectorAll('.chart[data-ready]').length === {CHARTS}")
    assert foreign == []
    assert all("inline style" in text for text in broken)
    assert len(set(broken)) <= KNOWN_REFUSALS
    tools = page.evaluate("[...document.querySelectorAll('.modebar-btn')].map(b => b.dataset.title)")
    assert tools
    assert not [tool for tool in tools if "hare" in tool or "loud" in tool]
    page.close()


def _ours(url: str, served: Served) -> bool:
    return url.startswith((served.base, "data:", "blob:"))


def test_a_chart_that_cannot_be_drawn_says_so_and_leaves_its_figures(plain_page: Page) -> None:
    assert "could not be drawn" in plain_page.locator("#pulls").inner_text()
    plain_page.get_by_text("The figures of this chart").click()
    assert plain_page.locator("#pulls-table").is_visible()


def test_keys_reach_the_search_and_the_help(plain_page: Page) -> None:
    plain_page.keyboard.press("/")
    assert plain_page.evaluate("document.activeElement.id") == "site-search"
    plain_page.keyboard.type("a/b?")
    assert plain_page.input_value("#site-search") == "a/b?"  # in a field these are letters
    plain_page.keyboard.press("Escape")
    assert plain_page.evaluate("document.activeElement.tagName") == "BODY"
    plain_page.keyboard.press("?")
    assert plain_page.locator("#keyboard-help").is_visible()
    plain_page.keyboard.press("Escape")
    assert not plain_page.locator("#keyboard-help").is_visible()


def test_arrow_keys_move_the_pointed_cell_and_the_charts_follow(page: Page) -> None:
    assert page.locator("#ignition td[tabindex='0']").count() == 1
    page.locator("#ignition tbody tr").nth(3).locator("td").nth(4).click()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.matches('td[data-pointed]')")
    heads = page.locator("#section .annotation-text").all_text_contents()
    assert heads == ["at Load 60 %", "at Engine speed 3,000 1/min"]
    frame = page.evaluate("document.getElementById('heat').layout.shapes[0]")
    assert (frame["x0"], frame["y0"]) == (4.5, 3.5)
    page.keyboard.press("Control+End")
    assert page.locator("#ignition thead th[data-pointed]").inner_text() == "6000"
    page.keyboard.press("ArrowRight")  # the edge holds
    assert page.locator("#ignition thead th[data-pointed]").inner_text() == "6000"
    assert page.locator("#ignition td[tabindex='0']").count() == 1


def test_a_click_on_the_heat_map_points_at_the_cell_of_the_table(page: Page) -> None:
    page.locator("#heat").scroll_into_view_if_needed()
    box = page.locator("#heat .nsewdrag").first.bounding_box()
    assert box is not None
    right, low = box["x"] + box["width"] * 0.97, box["y"] + box["height"] * 0.95
    page.mouse.move(right - 3, low - 3)
    page.mouse.move(right, low)
    page.wait_for_function("() => document.querySelector('#heat .hoverlayer .hovertext')")
    page.mouse.click(right, low)
    page.wait_for_function("() => document.querySelector('#ignition td[data-pointed]')")
    assert page.locator("#ignition th[data-pointed]").all_inner_texts() == ["6000", "160"]


def test_a_refused_request_of_a_part_is_shown_and_cleared_by_the_next(plain_page: Page) -> None:
    ask = "(address) => { htmx.ajax('GET', address, {target: '#status', swap: 'innerHTML'}); }"
    plain_page.evaluate(ask, "/missing")
    plain_page.locator("#problem").get_by_text("Not in the record.").wait_for()
    assert "A state is a word" in plain_page.locator("#status").inner_text()  # its target stays as it was
    plain_page.route("**/gone", lambda route: route.abort())
    plain_page.evaluate(ask, "/gone")
    plain_page.locator("#problem").get_by_text("The server did not answer.").wait_for()
    assert "Not in the record." not in plain_page.locator("#problem").inner_text()


def test_tables_sort_by_number_and_say_so(plain_page: Page) -> None:
    torque = plain_page.locator("#runs th[data-sort-kind]").nth(3)
    torque.locator("button").click()
    assert plain_page.locator("#runs tbody th").all_inner_texts() == ["Run 3", "Run 1", "Run 2"]
    assert torque.get_attribute("aria-sort") == "ascending"
    torque.locator("button").click()
    assert plain_page.locator("#runs tbody th").all_inner_texts() == ["Run 2", "Run 1", "Run 3"]


def test_a_dropped_file_is_taken_with_its_digest(plain_page: Page) -> None:
    plain_page.evaluate(
        """() => {
            const given = new DataTransfer();
            given.items.add(new File(["abc"], "<b>stock.bin"));
            const zone = document.querySelector("[data-drop]");
            zone.dispatchEvent(new DragEvent("drop", {bubbles: true, cancelable: true, dataTransfer: given}));
        }"""
    )
    # SHA-256 of "abc": FIPS 180-2, appendix B.1.
    plain_page.wait_for_function(
        "() => document.querySelector('.drop-digest')?.textContent.includes('ba7816bf8f01cfea')"
    )
    assert plain_page.evaluate("document.getElementById('image').files[0].name") == "<b>stock.bin"
    assert "<b>stock.bin" in plain_page.locator("[data-drop-files]").first.inner_text()


def test_an_irreversible_step_asks_once_and_back_records_nothing(plain_page: Page, served: Served) -> None:
    served.posted.clear()
    plain_page.get_by_role("button", name="Release revision 7").click()
    dialog = plain_page.locator("dialog[open]")
    assert "This records in the journal" in dialog.inner_text()
    assert plain_page.evaluate("document.activeElement.textContent") == "Back, record nothing"
    plain_page.keyboard.press("Escape")
    assert served.posted == []
    plain_page.get_by_role("button", name="Release revision 7").click()
    with plain_page.expect_navigation():
        dialog.get_by_role("button", name="Release revision 7").click()
    assert served.posted == [("/parts", "form_key=k1&confirmed=yes")]


def test_a_copy_button_copies_its_value_and_stands_on_no_page_without_scripts(
    chromium: Browser, served: Served
) -> None:
    page = _open(chromium, served, permissions=["clipboard-read", "clipboard-write"])
    button = page.locator("#evidence button", has_text="Copy").nth(2)
    assert button.get_attribute("aria-label") == "Copy Calibration ID"
    button.click()
    page.locator("#evidence [role=status]", has_text="Copied").wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == "ZQ4-7T210-B"
    page.close()
    page = _open(chromium, served, java_script_enabled=False)
    assert page.locator("#evidence .evidence-value").nth(2).is_visible()
    for kind in ("[data-copy]", "[data-print]"):
        assert page.locator(kind).count() > 0
        assert page.locator(f"{kind}:visible").count() == 0, kind
    page.close()


def test_without_javascript_the_irreversible_step_needs_its_tick(chromium: Browser, served: Served) -> None:
    served.posted.clear()
    page = _open(chromium, served, java_script_enabled=False)
    page.get_by_role("button", name="Release revision 7").click()
    assert served.posted == []
    page.get_by_label("I have read this. It cannot be taken back.").check()
    page.get_by_role("button", name="Release revision 7").click()
    page.get_by_text("taken").wait_for()
    assert served.posted == [("/parts", "form_key=k1&confirmed=yes")]
    page.close()


def test_a_change_of_colours_is_kept_and_reaches_the_charts(page: Page, served: Served) -> None:
    served.posted.clear()
    paper = "document.querySelector('#gain .main-svg').style.background"
    before = page.evaluate(paper)
    with page.expect_response("**/theme"):
        page.get_by_role("button", name="Dark").click()
    page.wait_for_function(f"(before) => {paper} !== before", arg=before)
    assert served.posted == [("/theme", "form_key=k1&theme=dark")]
    assert page.get_by_role("button", name="Dark").get_attribute("aria-pressed") == "true"


def test_on_paper_the_warning_stays_the_navigation_goes_and_charts_are_light(chromium: Browser, served: Served) -> None:
    page = _open(chromium, served, "dark")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    assert page.locator(".coding-banner").is_visible()
    assert "DANGER" in page.evaluate(
        "getComputedStyle(document.querySelector('.coding-banner-title'), '::before').content"
    )
    for gone in (".site-header", ".site-footer", ".section-nav", ".skip-link"):
        assert not page.locator(gone).is_visible()
    assert page.evaluate("document.querySelector('#gain .main-svg').style.background") == "rgb(255, 255, 255)"
    page.close()
