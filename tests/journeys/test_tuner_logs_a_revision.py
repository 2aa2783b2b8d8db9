"""A tuner takes a new car from the first read to a released revision, through the screens only."""

import re
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import expect

from tests.journeys import files
from tests.journeys.person import Person

VIN = "U9ZVS20A5K0003310"
BANNER = "Do not start the engine of"
STOCK, REVISION = files.image(), files.image(files.MORE_BOOST_BAR)


@dataclass
class Addresses:
    """Where the pages of this car lie, noted as they were reached."""

    car: str = ""
    unit: str = ""
    revision: str = ""
    flash: str = ""
    after: str = ""


@pytest.fixture(scope="module", params=[True, False], ids=["scripts", "no scripts"])
def scripts(request: pytest.FixtureRequest) -> bool:
    """Every form of this journey works in a browser without scripts too."""
    return bool(request.param)


def test_from_the_first_read_to_a_released_revision(signed_in: Callable[[str], Person]) -> None:
    tuner, at = signed_in("tuner"), Addresses()
    register(tuner, at)
    add_layout(tuner)
    read_stock(tuner, at)
    keep_coding(tuner, at)
    measure(tuner, at, "Baseline", [files.pull(seed) for seed in (11, 12, 13)])
    log_revision(tuner, at)
    look_at_the_difference(tuner, at)
    flash(tuner, at)
    nothing_hides_the_pending_coding(tuner, at)
    finish_the_flash(tuner, at)
    measure(tuner, at, "Measurement", [files.pull(seed, 25) for seed in (21, 22, 23)] + [files.pull(24, -80)])
    leave_one_pull_out(tuner, at)
    read_the_gain(tuner)
    release(tuner, at)


def here(tuner: Person) -> str:
    """The address of the page without what follows the path."""
    return re.sub(r"^https?://[^/]+|[?#].*$", "", tuner.page.url)


def register(tuner: Person, at: Addresses) -> None:
    tuner.go("/vehicles/new")
    form = tuner.form("/vehicles")
    tuner.fill(form, {"VIN": VIN, "Plate": "SM 3310 T", "Make": "Velmora", "Model": "Sirrus 2.0 T"})
    tuner.fill(form, {"Name": "Noor Ambry", "Odometer": "18200", "Here for": "More boost in the middle"})
    form.get_by_text("Engine, fuel and hybrid drive").click()
    form.get_by_role("group", name=re.compile("^Loses option coding")).get_by_label("Yes", exact=True).check()
    form.get_by_role("group", name=re.compile("^Boosted")).get_by_label("Yes", exact=True).check()
    tuner.press("Register")
    at.car = here(tuner)
    tuner.reads("Sirrus 2.0 T", "No control unit on record")
    tuner.follow("Add a control unit")
    numbers = {
        "Hardware number": "VS20-1177-02",
        "Software number": files.SOFTWARE,
        "Calibration IDs": "VSSIR3310A0001",
    }
    tuner.fill(tuner.form("/control-units"), numbers)
    tuner.press("Add")
    tuner.go(at.car)
    tuner.follow("Stock and reads")
    at.unit = here(tuner)
    tuner.reads("No stock is confirmed yet")


def add_layout(tuner: Person) -> None:
    tuner.go("/layouts")
    tuner.fill(tuner.form("/layouts"), {"A2L or table (CSV)": ("file", "addresses.csv", files.LAYOUT)})
    tuner.press("Read the layout")
    tuner.reads("boost target", "calibration block")


def read_stock(tuner: Person, at: Addresses) -> None:
    for name, data, outcome in (
        ("read-1.bin", STOCK, "Add the second read"),
        ("read-2.bin", files.disturbed(STOCK, 0x234, 0x1F00), "differs from the first one"),
        ("read-3.bin", STOCK, "two reads agree"),
    ):
        tuner.go(at.unit)
        tuner.fill(tuner.form("/stock-reads"), {"Stock read": ("file", name, data)})
        tuner.press("Add the read")
        tuner.reads(outcome)
        if "differs" in outcome:
            tuner.is_refused("in 2 bytes, first at 0x234", "two reads agree: check the connection and supply voltage")
            tuner.reads("0x00000234", "0x00001F00")


def keep_coding(tuner: Person, at: Addresses) -> None:
    tuner.go(f"{at.car}/coding")
    fields = {"Coding file": ("file", "coding.csv", files.CODING), "When in the job": "as found"}
    tuner.fill(tuner.form("/coding"), fields)
    tuner.press("Keep the snapshot")
    tuner.reads("as found")


def measure(tuner: Person, at: Addresses, purpose: str, pulls: list[bytes]) -> None:
    tuner.go(f"{at.car}/dyno-sessions/new")
    form = tuner.form("/dyno-sessions")
    form.get_by_label(re.compile(f"^{purpose}:")).check()
    air = {"Ambient pressure": "1009.5", "Ambient temperature": "19,5", "Relative humidity": "48"}
    car = {"Gear": "4", "Drive mode": "normal", "Tyre pressure": "2.4", "Fuel": "98 RON", "Coolant at start": "88"}
    tuner.fill(form, {**air, **car, "Intake air at start": "29"})
    tuner.press("Open the session")
    tuner.reads("No pulls yet")
    tuner.fill(tuner.form("/runs"), {"Pulls": [("file", f"{k}.csv", data) for k, data in enumerate(pulls, start=1)]})
    tuner.press("Add the pulls")
    tuner.reads("Pull 1", f"Pull {len(pulls)}")
    at.after = here(tuner)


def log_revision(tuner: Person, at: Addresses) -> None:
    tuner.go(at.unit)
    tuner.follow("Log a revision")
    fields = {
        "Image": ("file", "sirrus-r1.bin", REVISION),
        "Title": "Boost from 2,500",
        "Purpose": "A tenth of a bar more at 2,500 and 4,000 1/min under load",
        "Minimum fuel": "98 RON",
    }
    tuner.fill(tuner.form("/revisions"), fields)
    tuner.press("Log the revision")
    at.revision = here(tuner)
    tuner.reads("boost target", "Nobody has decided about this revision yet.", "calibration block")


def look_at_the_difference(tuner: Person, at: Addresses) -> None:
    tuner.go(at.revision)
    tuner.follow("Compare with its parent")
    # 1.7 → 1.8 and 1.8 → 1.95 bar at 80 % load: the larger change is 0.15 bar at 4,000 1/min.
    tuner.reads("boost target", re.compile(r"\+0\.150\s*bar"), re.compile("4,?000"), re.compile("2 of 8 cells"))
    tuner.reads("Every changed byte is explained.")
    # 0.10 / 1.7 = 5.9 % and 0.15 / 1.8 = 8.3 %; of the two changed cells the mean is 0.125 bar, of all eight 0.031.
    panel = tuner.page.locator("#map-panel")
    for figure in ("+5.9 to +8.3 %", "+0.125 bar", "+0.031 bar"):
        expect(panel).to_contain_text(figure)
    expect(panel.get_by_role("row", name=re.compile("^80"))).to_contain_text("0.000+0.100+0.1500.000")


def flash(tuner: Person, at: Addresses) -> None:
    tuner.go(at.revision)
    tuner.follow("Log a flash of it")
    form = tuner.form("/flashes")
    form.get_by_label(re.compile("Boost from 2,500")).check()
    form.get_by_label("Completed").check()
    tuner.fill(form, {"Supply voltage before": "13.7", "Lowest supply voltage": "13,5"})
    tuner.press("Log the flash")
    at.flash = here(tuner)
    tuner.reads("Coding is pending")


def nothing_hides_the_pending_coding(tuner: Person, at: Addresses) -> None:
    for address in ("/", "/vehicles", "/journal", "/dynos", at.car, at.unit, at.revision, at.after, at.flash):
        tuner.go(address)
        banner = tuner.page.locator(".coding-banner")
        expect(banner).to_contain_text(BANNER)
        expect(banner).to_contain_text("Sirrus 2.0 T")
    tuner.press("Record the first start")
    tuner.is_refused(re.compile("coding", re.IGNORECASE))
    tuner.go(at.flash)
    tuner.reads("Record the first start")


def finish_the_flash(tuner: Person, at: Addresses) -> None:
    tuner.fill(tuner.form("/read-back"), {"Read-back": ("file", "read-back.bin", REVISION)})
    tuner.press("Compare")
    expect(tuner.page.locator("#read-back .badge").first).to_have_text(re.compile("equal"))
    for coding, state in ((files.LOST_CODING, "differs"), (files.CODING, "verified")):
        tuner.fill(tuner.form("/coding-write-back"), {"Coding as read again": ("file", "again.csv", coding)})
        tuner.press("Verify the coding")
        expect(tuner.page.locator("#coding .badge").first).to_have_text(re.compile(state))
    for address in ("/", at.car, at.flash):
        tuner.go(address)
        expect(tuner.page.locator(".coding-banner", has_text="Sirrus 2.0 T")).to_have_count(0)
    tuner.press("Record the first start")
    tuner.reads("First started")


def leave_one_pull_out(tuner: Person, at: Addresses) -> None:
    tuner.go(at.after)
    last = tuner.page.locator("#pulls details.entry").nth(3)
    last.locator("summary").click()
    last.get_by_label(re.compile("^Reason")).fill("Clutch slipped above 3,000 1/min")
    tuner.press("Exclude this pull", last)
    tuner.reads("Clutch slipped above 3,000 1/min", "excluded")


def read_the_gain(tuner: Person) -> None:
    tuner.page.locator("main .actions a[href^='/gains']").first.click()
    expect(tuner.heading(re.compile("^More power over .* proven"))).to_be_visible()
    tuner.reads("Clutch slipped above 3,000 1/min", "Are these sessions comparable?")


def release(tuner: Person, at: Addresses) -> None:
    tuner.go(at.revision)
    tuner.page.get_by_text("Release it", exact=True).click()
    form = tuner.page.locator("form[data-confirm-action='Release']")
    tuner.fill(form, {"Legal basis of use": "competition on closed courses", "Note": "Measured and driven"})
    tuner.confirm(form, "Release")
    tuner.reads("released", "competition on closed courses")
    tuner.go(at.car)
    tuner.reads("Boost from 2,500", "verified by read-back")
