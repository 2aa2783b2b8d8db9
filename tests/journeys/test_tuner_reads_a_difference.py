"""A tuner reads what a revision changed: list, panel, keys, address, history of the browser; then names a range."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.journeys.person import Person


@pytest.fixture
def tuner(signed_in: Callable[[str], Person]) -> Person:
    """In front of what the newest revision of the Astrel's engine control unit changed."""
    found = signed_in("tuner")
    found.go("/vehicles?q=Astrel")
    found.page.get_by_role("link", name=re.compile("Astrel 2.0 T")).first.click()
    found.follow("Compare")
    return found


def panel_ready(page: Page, name: str) -> None:
    """The panel shows the map, with its charts drawn."""
    expect(page.locator("#map-panel h2")).to_have_text(name)
    expect(page.locator("#map-panel .chart[data-ready]").first).to_be_visible()


def listed(page: Page) -> list[str]:
    return page.locator(".diff-items .diff-name").all_text_contents()


def test_a_map_is_chosen_in_the_list_and_the_address_tells_it(tuner: Person) -> None:
    page = tuner.page
    names = listed(page)
    assert len(names) > 5
    panel_ready(page, names[0])
    page.locator(".diff-items a").nth(1).click()
    panel_ready(page, names[1])
    expect(page.locator(".diff-items a[aria-current]")).to_contain_text(names[1])
    assert f"map={names[1]}" in page.url
    expect(page).to_have_title(re.compile(names[1]))
    page.get_by_role("link", name="Percent").click()
    expect(page.locator("#map-cells caption")).to_contain_text("[%]")
    assert "show=percent" in page.url
    # The list keeps up with the switch.
    page.get_by_role("link", name="Next map").click()
    panel_ready(page, names[2])
    assert "show=percent" in page.url
    page.locator(".diff-items a").nth(0).click()
    panel_ready(page, names[0])
    assert "show=percent" in page.url
    address = page.url
    page.go_back()
    panel_ready(page, names[2])
    page.goto(address)
    panel_ready(page, names[0])


def test_the_keyboard_is_enough(tuner: Person) -> None:
    page = tuner.page
    names = listed(page)
    panel_ready(page, names[0])
    page.locator(".diff-items a").first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    panel_ready(page, names[1])
    page.locator("#map-cells td[tabindex='0']").focus()
    page.keyboard.press("Control+Home")
    pointed = page.locator("#map-cells td[data-pointed]")
    expect(pointed).to_have_count(1)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    place = pointed.evaluate("cell => [cell.parentElement.rowIndex, cell.cellIndex]")
    assert place == [2, 2]
    # The address tells the cell, and another way of looking at the map keeps it.
    assert f"map={names[1]}" in page.url and "cell=2-2" in page.url
    page.get_by_role("link", name="Percent").click()
    expect(page.locator("#map-cells caption")).to_contain_text("[%]")
    assert "cell=2-2" in page.url
    expect(page.get_by_role("link", name="Percent")).to_be_focused()
    page.reload()
    assert pointed.evaluate("cell => [cell.parentElement.rowIndex, cell.cellIndex]") == [2, 2]
    # The cross-section goes through the pointed cell: its headings name that cell's breakpoints.
    row, column = (
        page.locator("#map-cells tbody tr").nth(1).locator("th").inner_text(),
        page.locator("#map-cells thead th").nth(2).inner_text(),
    )
    annotations = page.locator("#map-section .annotation-text").all_text_contents()
    assert any(row.rstrip("0").rstrip(".") in one for one in annotations), (row, annotations)
    assert any(column in one for one in annotations), (column, annotations)


def test_a_range_is_named_and_becomes_a_map(tuner: Person) -> None:
    page = tuner.page
    tuner.follow("Name this range")
    tuner.reads("What it could be")
    cell = page.locator("#preview-before td").first
    stored = float(cell.inner_text().replace(",", ""))
    page.get_by_label(re.compile("^Factor")).first.fill("0.1")
    expect(cell).to_have_text(f"{stored / 10:,.1f}")
    page.get_by_label(re.compile("^Map")).fill("charge temperature weight")
    tuner.press(re.compile("^Save as"))
    panel_ready(page, "charge temperature weight")
    tuner.reads("compared before")
    tuner.follow("Compare again")
    tuner.press("Compare again")
    tuner.reads("version 2")
