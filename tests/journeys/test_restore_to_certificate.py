"""A released car goes back to stock: every step closed by its evidence or overridden by the manager, signed by two,
certified on paper; and the head that is printed there still anchors the record."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Locator, expect

from seed_data import catalogue
from seed_data.corvane_estate.story import SETTING, STOCK, VIN
from seed_data.images import stock_file
from seed_data.pull_text import north_cell
from seed_data.pulls import Air, Pull, rows_of
from tests.journeys.demo import PEOPLE
from tests.journeys.person import Person
from tests.served import Served, command_ok

CODING = Path(__file__).resolve().parents[2] / "seed_data/corvane_estate/coding-as-found.csv"
AIR = Air(1012.0, 18.6, 51.0)
WHY = "The evaporative system needs two cold starts; the dealer was told in writing"


@pytest.fixture(scope="module", params=[True, False], ids=["scripts", "no scripts"])
def scripts(request: pytest.FixtureRequest) -> bool:
    """Every form of this journey works in a browser without scripts too."""
    return bool(request.param)


def test_from_a_released_revision_to_a_certificate(
    signed_in: Callable[[str], Person], demo_server: Served, tmp_path: Path
) -> None:
    tuner = signed_in("tuner")
    case = open_the_restore(tuner)
    identify(tuner)
    write_stock(tuner)
    bring_coding_back(tuner)
    look_at_parts_and_faults(tuner)
    verify_on_the_dyno(tuner, case)
    tuner.reads("Complete the readiness monitors")
    expect(tuner.page.get_by_text("Override this step")).to_have_count(0)  # only a manager may

    manager = signed_in("manager")
    manager.go(case)
    override_readiness(manager)
    tuner.go(case)
    sign(tuner)
    manager.go(case)
    sign(manager)
    head = read_the_certificate(manager, case, tmp_path / "certificate.pdf")
    found = command_ok(demo_server.file, "verify", "--anchor", head)
    assert "Everything holds" in found


def step(person: Person, title: str) -> Locator:
    return person.page.locator(".checklist-step", has=person.page.get_by_role("heading", name=title))


def close(person: Person, title: str, fields: dict[str, object], button: str) -> None:
    """Hand in the evidence of a step through its form; it must close the step."""
    at = step(person, title)
    form = at.locator("form", has=person.page.get_by_role("button", name=button, exact=True)).last
    person.fill(form, fields)
    person.press(button, form)
    expect(step(person, title)).to_have_attribute("data-state", "ok")


def open_the_restore(tuner: Person) -> str:
    tuner.go(f"/search?q={VIN}")
    tuner.reads("As the sister car's revision 4", "released")
    tuner.follow("Restore to stock")
    form = tuner.form("/restores")
    form.get_by_label(re.compile("^Engine")).check()
    snapshot = form.get_by_label(re.compile("^Option coding to restore"))
    expect(snapshot.locator("option:checked")).to_contain_text("as found, ")
    baseline = form.get_by_label(re.compile("^Baseline to compare with"))
    baseline.select_option(index=baseline.locator("option").count() - 1)
    tuner.fill(form, {"Why the car goes back": "Warranty visit", "Margin of equivalence": "4", "Two people sign": True})
    tuner.press("Open the restore")
    tuner.reads("Identify the control unit")
    return tuner.page.url


def identify(tuner: Person) -> None:
    software = catalogue.astrel_engine()
    numbers = {
        "Hardware number as scanned": software.hardware_number,
        "Software number as scanned": software.software_number,
        "Calibration IDs as scanned": software.calibration_id,
    }
    close(tuner, "Identify the control unit", numbers, "Compare with the record")


def write_stock(tuner: Person) -> None:
    close(tuner, "Secure the stock image", {}, "Hash the stock image now")
    volts = {"Lowest voltage": "13.4", "Highest voltage": "13.8"}
    close(tuner, "Connect a battery supply", volts, "Record the supply")
    flash = {"Supply voltage before": "13.8", "Lowest supply voltage during": "13.4"}
    close(tuner, "Write the stock image", flash, "Log the write of stock")
    read = stock_file(catalogue.astrel_engine(), "bin")
    close(tuner, "Read back and compare", {"Read-back": ("file", "read-back.bin", read)}, "Compare with stock")
    expect(tuner.page.locator(".coding-banner")).to_contain_text("Do not start the engine")
    expect(tuner.page.locator(".coding-banner li", has_text="Astrel Estate")).to_have_count(1)


def bring_coding_back(tuner: Person) -> None:
    close(tuner, "Write the option coding back", {"Note": "All modules"}, "Record the write-back")
    coding = {"Coding as read again": ("file", "again.csv", CODING.read_bytes())}
    close(tuner, "Compare the option coding", coding, "Compare the coding")
    expect(tuner.page.locator(".coding-banner li", has_text="Astrel Estate")).to_have_count(0)


def look_at_parts_and_faults(tuner: Person) -> None:
    at = step(tuner, "Go through the physical parts")
    summary = at.locator("summary", has_text="Hand in evidence")
    if summary.count():
        summary.click()
    states = at.get_by_label(re.compile("^State of part"))
    named = [k for k in range(states.count()) if at.get_by_label(f"Part {k + 1}", exact=True).input_value()]
    if not named:
        at.get_by_label("Part 1", exact=True).fill("Intercooler")
        named = [0]
    for k in named:
        states.nth(k).select_option(label="Stock part fitted")
    tuner.press("Record the parts", at)
    expect(step(tuner, "Go through the physical parts")).to_have_attribute("data-state", "ok")
    faults = {"Fault list after clearing": "No faults stored.\n"}
    close(tuner, "Clear and re-scan faults", faults, "Record the scan")


def verify_on_the_dyno(tuner: Person, case: str) -> None:
    tuner.go(f"/search?q={VIN}")
    tuner.follow("Dyno")
    tuner.follow("Open a session")
    form = tuner.form("/dyno-sessions")
    form.get_by_label(re.compile("^Verification:")).check()
    tuner.fill(form, {"Dyno": ("choose", "North cell"), "Ambient pressure": f"{AIR.pressure_hpa}"})
    air = {"Ambient temperature": f"{AIR.temperature_c}", "Relative humidity": f"{AIR.relative_humidity_percent}"}
    start = {"Coolant at start": "89", "Intake air at start": "28", "Fuel": SETTING.fuel, "Tyre pressure": "2.6"}
    tuner.fill(form, {**air, **start, "Gear": SETTING.gear, "Drive mode": SETTING.drive_mode})
    tuner.fill(form, {"Driven wheels": SETTING.driven_axles, "Tyre": SETTING.tyre})
    tuner.press("Open the session")
    names = [f"verification {k}" for k in range(3)]
    pulls = [rows_of(STOCK, AIR, Pull(name, "verification", k, 28.0 + k)) for k, name in enumerate(names)]
    files = [("file", f"{k}.csv", north_cell(rows, SETTING.shown_as, k + 1)) for k, rows in enumerate(pulls)]
    tuner.fill(tuner.form("/runs"), {"Pulls": files})
    tuner.press("Add the pulls")
    tuner.go(case)
    at = step(tuner, "Verify on the dyno")
    if at.locator("summary", has_text="Hand in evidence").count():
        at.locator("summary", has_text="Hand in evidence").click()
    close(tuner, "Verify on the dyno", {}, "Compare with the baseline")


def override_readiness(manager: Person) -> None:
    at = step(manager, "Complete the readiness monitors")
    at.get_by_text("Override this step").click()
    form = at.locator("form.irreversible")
    manager.fill(form, {"Why it cannot be evidenced": WHY, "Your password": "not the password"})
    manager.confirm(form, "Override")
    manager.is_refused(re.compile("password", re.IGNORECASE))
    form = step(manager, "Complete the readiness monitors").locator("form.irreversible")
    manager.fill(form, {"Why it cannot be evidenced": WHY, "Your password": manager.password})
    manager.confirm(form, "Override")
    overridden = step(manager, "Complete the readiness monitors")
    expect(overridden).to_have_attribute("data-state", "attention")
    expect(overridden).to_contain_text(WHY)


def sign(person: Person) -> None:
    form = person.page.locator("#sign-off form")
    person.fill(form, {"Your name": person.name, "Your password": person.password})
    person.confirm(form, "Sign off")


def read_the_certificate(person: Person, case: str, file: Path) -> str:
    """The journal head on the certificate, which prints on paper."""
    person.go(f"{case}/certificate")
    person.reads("Certificate of restore to stock", VIN, WHY, PEOPLE["tuner"], PEOPLE["manager"], "Warranty visit")
    expect(person.page.locator(".certificate-draft")).to_have_count(0)
    head = person.page.locator("dt", has_text="Journal head").locator("xpath=following-sibling::dd").inner_text()
    if not re.fullmatch(r"\d+-[0-9a-f]{16,64}", head):
        pytest.fail(f"{head} is no journal head")
    person.page.emulate_media(media="print")
    expect(person.page.locator(".site-nav")).to_be_hidden()
    expect(person.page.get_by_text(head).first).to_be_visible()
    person.page.pdf(path=file, format="A4")
    assert file.read_bytes().startswith(b"%PDF-")
    assert file.stat().st_size > 10_000
    return head
