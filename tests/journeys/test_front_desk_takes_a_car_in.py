"""The front desk registers a car, books it in, and drops the signed sheet: on two pages, without leaving the desk."""

import base64
import re
from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

from tests.journeys.person import Person

SignedIn = Callable[[str], Person]
VIN = "U9ZSHP2A5K0000042"


def drop(page: Page, zone: Locator, files: list[tuple[str, str, bytes]]) -> None:
    """Let files fall on a drop zone, as from a file manager."""
    given = [[name, kind, base64.b64encode(data).decode()] for name, kind, data in files]
    transfer = page.evaluate_handle(
        """(files) => {
          const transfer = new DataTransfer();
          for (const [name, type, data] of files) {
            const bytes = Uint8Array.from(atob(data), (one) => one.charCodeAt(0));
            transfer.items.add(new File([bytes], name, { type }));
          }
          return transfer;
        }""",
        given,
    )
    zone.dispatch_event("drop", {"dataTransfer": transfer})


def test_a_car_is_registered_and_taken_in_at_the_desk(signed_in: SignedIn) -> None:
    person = signed_in("front_desk")
    page = person.page
    photo = page.screenshot(type="jpeg")  # a picture that the browser made, not this project
    person.go("/vehicles/new")
    form = person.form("/vehicles")
    person.fill(form, {"VIN": VIN, "Make": "Velmora", "Model": "Sirrus", "Here for": "Service", "Odometer": "120"})
    person.press("Register", form)
    expect(person.heading(re.compile("Velmora Sirrus"))).to_be_visible()

    person.follow(re.compile("^Intake"))
    person.reads("The car is booked in.")
    faults = person.form("/fault-scans")
    person.fill(faults, {"Fault list": "P0301 Cylinder 1 misfire - confirmed"})
    person.press("Keep the scan", faults)
    person.reads("as found: 1 code")

    drop(page, page.locator("#authorisation [data-drop]"), [("signed.jpg", "image/jpeg", photo)])
    preview = page.locator("#authorisation [data-drop-files]")
    expect(preview).to_contain_text("signed.jpg")
    expect(preview.locator("img")).to_be_visible()
    person.press("Attach", page.locator("#authorisation"))
    person.reads("A signed authorisation is attached.")

    person.follow(re.compile("Velmora Sirrus"))
    shown = page.locator("#files .pictures img")
    shown.scroll_into_view_if_needed()
    expect(shown).to_have_js_property("complete", True)
    assert shown.evaluate("(image) => image.naturalWidth") == 1280


def test_a_place_for_one_file_says_which_were_left_out(signed_in: SignedIn) -> None:
    person = signed_in("tuner")
    page = person.page
    person.go("/control-units/1")
    zone = page.locator("[data-drop]").first
    drop(page, zone, [("one.bin", "", b"one"), ("two.bin", "", b"two"), ("three.bin", "", b"three")])
    expect(zone).to_contain_text("one.bin")
    expect(zone).to_contain_text("This place takes one file; 2 others were left out.")
