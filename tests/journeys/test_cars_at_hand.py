"""Cars that a person has at hand on the first page: pinned ones, and those opened last at this computer."""

import re
from collections.abc import Callable

from playwright.sync_api import expect

from tests.journeys.person import Person

SignedIn = Callable[[str], Person]


def test_the_cars_opened_last_come_first_and_belong_to_the_person(signed_in: SignedIn) -> None:
    person = signed_in("front_desk")
    page = person.page
    listed = page.locator("[data-recent-list]")
    expect(listed).to_be_hidden()
    for address in ("/vehicles/3", "/vehicles/4", "/vehicles/3"):
        person.go(address)
    person.go("/")
    expect(listed.get_by_role("link")).to_have_count(2)
    expect(listed.get_by_role("link").first).to_have_text(re.compile("Tarkess Lanner"))
    person.follow(re.compile("Corvane Astrel"), listed)
    expect(page).to_have_url(re.compile(r"/vehicles/4$"))
    # Somebody else signs in at the same computer.
    person.press("Sign out", page.locator("footer"))
    other = Person(page, "Oskar Dunmore", person.password)
    other.sign_in()
    expect(listed).to_be_hidden()


def test_a_label_is_shown_as_text_whatever_it_holds(signed_in: SignedIn) -> None:
    page = signed_in("front_desk").page
    page.evaluate(
        """localStorage.setItem("recent-cars", JSON.stringify({person: "Tomas Arkwell", cars: [
            {href: "/vehicles/3", label: "<img src=x onerror=alert(1)>"},
            {href: "javascript:alert(1)", label: "bad"}]}))"""
    )
    page.reload()
    listed = page.locator("[data-recent-list]")
    expect(listed.get_by_role("link")).to_have_count(1)
    expect(listed).to_contain_text("<img src=x")
    page.evaluate("localStorage.setItem('recent-cars', 'no JSON')")
    page.reload()
    expect(listed).to_be_hidden()


def test_a_pin_is_taken_back_where_it_is_seen(signed_in: SignedIn) -> None:
    person = signed_in("front_desk")
    person.go("/vehicles/3")
    person.press("Pin")
    person.go("/")
    pinned = person.page.locator(".at-hand").filter(has_text="Pinned")
    item = pinned.get_by_role("listitem").filter(has_text="Tarkess Lanner")
    expect(item).to_be_visible()
    with person.page.expect_navigation():
        item.get_by_role("button").click()
    expect(person.heading("Today")).to_be_visible()
    expect(person.page.get_by_role("button", name=re.compile("Unpin Tarkess Lanner"))).to_have_count(0)
