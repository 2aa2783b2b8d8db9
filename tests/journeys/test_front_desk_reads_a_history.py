"""The front desk finds a car with the keyboard only and reads what happened to it."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.journeys.person import Person

SignedIn = Callable[[str], Person]
CAR = re.compile(r"Corvane Astrel 2\.0 T")


@pytest.mark.parametrize(
    ("typed", "why"),
    [("4471 K", "part of the plate"), ("04471", "the VIN's last characters"), ("leonie", "the customer's name")],
)
def test_a_car_is_found_by_keyboard_alone(signed_in: SignedIn, typed: str, why: str) -> None:
    person = signed_in("front_desk")
    page = person.page
    page.keyboard.press("Escape")
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "today-search"
    page.keyboard.type(typed)
    expect(page.locator("#hits")).to_contain_text(CAR)
    for _ in range(10):
        page.keyboard.press("Tab")
        if page.evaluate("Boolean(document.activeElement.closest('#hits'))"):
            break
    # Down and up come back to where they started; with one hit both stay.
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    while not CAR.search(page.evaluate("document.activeElement.textContent")):
        page.keyboard.press("ArrowDown")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(person.heading(CAR)).to_be_visible()


def _open_the_car(person: Person) -> Page:
    person.go("/search?q=4471 K")  # one hit leads straight to the car
    expect(person.heading(CAR)).to_be_visible()
    return person.page


def test_the_car_page_says_what_is_on_it_and_the_history_can_be_narrowed(signed_in: SignedIn) -> None:
    person = signed_in("front_desk")
    page = _open_the_car(person)
    unit = page.locator("[id^=unit-]").first
    expect(unit).to_contain_text("Winter fuel")
    history = page.locator("#history")
    everything = history.locator("time").count()
    person.follow(re.compile("^Flashes"), history)
    narrowed = page.locator("#history")
    assert 0 < narrowed.locator("time").count() < everything
    expect(narrowed).to_contain_text(re.compile("flash", re.IGNORECASE))
