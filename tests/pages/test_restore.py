"""The shop can rely on it that the pages of a restore show what waits, take evidence, and print what was found."""

import hashlib
import html
import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlalchemy import Engine, func, select

from app.main import create_app
from app.record import people, restores
from app.record.engine import reading, transaction
from app.record.tables import JournalEntry, Person
from app.settings import Settings
from tests.browser import Browser
from tests.conftest import token_for
from tests.pictures import png
from tests.restore_car import CODING, FOUND, PASSWORD, READY, STOCK, TUNED, Car, car_to_restore, verification

REASON = "The buyer has been told in writing that it was not complete."


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    return car_to_restore(sqlite_engine)


def opening(car: Car, **changed: Any) -> dict[str, Any]:
    return {
        "reason": "Sale of the car",
        "unit_ids": [str(car.unit_id)],
        "coding_snapshot_id": str(car.coding_id),
        "baseline_session_id": str(car.baseline_id),
        "margin_percent": "3,0",
    } | changed


@pytest.fixture
def case(tuner: Browser, car: Car) -> str:
    """The address of a new restore."""
    answer = tuner.submit(f"/vehicles/{car.vehicle_id}/restores", opening(car))
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def hand_in(
    who: Browser, case: str, key: str, fields: Mapping[str, Any] | None = None, *, file: bytes | None = None
) -> Response:
    files = None if file is None else {"file": ("upload.bin", file)}
    return who.submit(f"{case}/steps/{key}", fields or {}, files=files)


def good(car: Car) -> list[tuple[str, dict[str, Any], bytes | None]]:
    """(step, fields, file) in order, up to the readiness monitors."""
    unit = car.unit_id
    return [
        (f"identify.{unit}", {"hardware_number": "HW-2204", "software_number": "SW-77A"}, None),
        (f"secure_stock.{unit}", {}, None),
        ("supply", {"lowest_v": "13,2", "highest_v": "13.8"}, None),
        (f"flash.{unit}", {"outcome": "completed", "supply_lowest_v": "13.3"}, None),
        (f"read_back.{unit}", {}, STOCK),
        ("write_coding", {"outcome": "completed", "note": "All modules"}, None),
        ("compare_coding", {}, CODING),
        ("parts", {"part_name": ["Air filter", ""], "part_state": ["stock", "not seen"], "part_note": ["", ""]}, None),
        ("faults", {"text": "No faults stored."}, None),
        ("readiness", {"readiness_name": ["Engine"], "readiness_bytes": [READY]}, None),
    ]


def through(who: Browser, case: str, car: Car, last: str) -> None:
    for key, fields, file in good(car):
        answer = hand_in(who, case, key, fields, file=file)
        assert answer.status_code == 303, answer.text
        assert answer.headers["location"] == f"{case}#step-{key.replace('.', '-')}"
        if key.split(".")[0] == last:
            return


def text_of(answer: Response) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def entries(engine: Engine) -> int:
    with reading(engine) as session:
        return session.scalar(select(func.count()).select_from(JournalEntry)) or 0


# The list


def test_the_list_proposes_what_the_record_knows(tuner: Browser, car: Car) -> None:
    body = tuner.get(f"/vehicles/{car.vehicle_id}/restores").text
    assert "No restore yet" in body
    assert re.search(rf'id="unit-{car.unit_id}" name="unit_ids" value="{car.unit_id}" checked', body)
    assert re.search(rf'<option value="{car.coding_id}" selected>\d+ \w+ \d{{4}}, \d\d:\d\d, as found', body)
    assert re.search(rf'<option value="{car.baseline_id}" selected>baseline', body)
    assert 'name="margin_percent" value="3"' in body


def test_the_front_desk_looks_but_opens_nothing(front_desk: Browser, car: Car, case: str) -> None:
    body = front_desk.get(f"/vehicles/{car.vehicle_id}/restores").text
    assert "Restore 1" in body
    assert f'action="/vehicles/{car.vehicle_id}/restores"' not in body
    checklist = front_desk.get(case)
    assert checklist.status_code == 200
    assert f'action="{case}' not in checklist.text


def test_a_car_without_a_control_unit_is_led_to_its_first_step(tuner: Browser, sqlite_engine: Engine) -> None:
    from app.actions.register_vehicle import NewVehicle, register_vehicle

    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert isinstance(person, Person)
        at = datetime.now(UTC)
        car = NewVehicle("30KLN3C62NB004518", "", "Tarkess", "Lanner")
        vehicle = register_vehicle(session, person=person, at=at, car=car)
        path = f"/vehicles/{vehicle.id}"
    body = tuner.get(f"{path}/restores").text
    assert f'href="{path}/control-units/new"' in body


@pytest.mark.parametrize(
    ("changed", "status", "sentence"),
    [
        ({"reason": ""}, 422, "Write why the car goes back to stock"),
        ({"margin_percent": ""}, 422, "Margin of equivalence is missing"),
        ({"margin_percent": "much"}, 422, "“much” is no number"),
        ({"unit_ids": []}, 422, "Choose at least one control unit"),
        ({"unit_ids": ["77"]}, 409, "belongs to another car"),
        ({"coding_snapshot_id": "x"}, 422, "Choose one from the list"),
    ],
)
def test_a_refused_case_comes_back_with_what_was_typed(
    tuner: Browser, car: Car, changed: dict[str, Any], status: int, sentence: str
) -> None:
    answer = tuner.submit(f"/vehicles/{car.vehicle_id}/restores", opening(car, two_sign_offs="yes") | changed)
    assert answer.status_code == status
    assert sentence in text_of(answer)
    assert re.search(r'name="two_sign_offs" value="yes" checked', answer.text)


def test_the_same_form_twice_opens_one_case(tuner: Browser, car: Car, sqlite_engine: Engine) -> None:
    path, key = f"/vehicles/{car.vehicle_id}/restores", "k" * 24
    first = tuner.submit(path, opening(car), key=key)
    again = tuner.submit(path, opening(car), key=key)
    assert first.headers["location"] == again.headers["location"]
    with reading(sqlite_engine) as session:
        assert len(restores.of_vehicle(session, car.vehicle_id)) == 1


# The checklist


def test_the_checklist_goes_forward_step_by_step(tuner: Browser, car: Car, case: str) -> None:
    page = tuner.get(case)
    assert "0 of 11 steps done. Next: Identify the control unit – engine." in text_of(page)
    assert "Waits for: Identify the control unit – engine." in text_of(page)
    through(tuner, case, car, "readiness")
    assert "10 of 11 steps done. Next: Verify on the dyno." in text_of(tuner.get(case))


def test_a_step_out_of_order_is_refused_on_the_page_that_names_what_it_waits_for(
    tuner: Browser, car: Car, case: str
) -> None:
    answer = hand_in(tuner, case, "supply", {"lowest_v": "13.2", "highest_v": "13.8"})
    assert answer.status_code == 409
    assert "This step waits for: Identify the control unit – engine." in text_of(answer)


def test_a_refused_entry_keeps_what_was_typed(tuner: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "secure_stock")
    answer = hand_in(tuner, case, "supply", {"lowest_v": "13,2", "highest_v": "12,9"})
    assert answer.status_code == 422
    assert "The lowest voltage must not be above the highest" in text_of(answer)
    assert 'name="lowest_v" value="13,2"' in answer.text


def test_the_digest_of_another_file_in_the_flash_tool_is_refused(tuner: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "supply")
    answer = hand_in(tuner, case, f"flash.{car.unit_id}", {"outcome": "completed", "sha256": "deadbeef"})
    assert answer.status_code == 422
    assert "Do not flash it" in text_of(answer)
    assert 'value="deadbeef"' in answer.text


def test_a_read_back_that_differs_shows_where_and_the_step_stays_open(tuner: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "flash")
    assert hand_in(tuner, case, f"read_back.{car.unit_id}", file=TUNED).status_code == 303
    page = tuner.get(case)
    assert "0x8400 to 0x843F: 64 bytes not as in stock" in text_of(page)
    assert re.search(rf'id="step-read_back-{car.unit_id}" data-state="danger"', page.text)


def test_the_case_leads_to_its_next_step_and_the_list_to_the_open_case(tuner: Browser, car: Car, case: str) -> None:
    page = tuner.get(case).text
    step = re.search(r'<a class="button" href="#([\w-]+)" data-kind="primary">Next: ', page)
    assert step and re.search(rf'<li class="checklist-step" id="{step[1]}"[^>]* aria-current="step"', page)
    listed = tuner.get(f"/vehicles/{car.vehicle_id}/restores").text
    assert re.search(rf'<a class="button" href="{case}" data-kind="primary">Continue restore', listed)
    assert "Open a new restore in its place" in listed and "Open the restore" not in listed


def test_the_coding_warning_stands_until_the_comparison_holds(tuner: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "write_coding")
    assert "Do not start the engine of" in text_of(tuner.get("/"))
    hand_in(tuner, case, "compare_coding", {"text": CODING.decode()})
    assert "Do not start the engine of" not in text_of(tuner.get("/"))


def test_faults_that_stay_keep_the_step_open(tuner: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "parts")
    assert hand_in(tuner, case, "faults", {"text": FOUND}).status_code == 303
    assert "1 fault stored" in text_of(tuner.get(case))
    assert hand_in(tuner, case, "faults", {"text": "hello"}).status_code == 422


def test_the_parts_are_proposed_from_what_the_revisions_needed_and_kept_as_typed(
    tuner: Browser, car: Car, case: str
) -> None:
    through(tuner, case, car, "compare_coding")
    page = tuner.get(case).text
    assert 'name="part_name" value="Air filter, panel type"' in page
    assert 'name="part_name" value="exhaust"' in page
    fields = {"part_name": ["Exhaust"], "part_state": ["changed"], "part_note": ["Owner keeps it"]}
    assert hand_in(tuner, case, "parts", fields).status_code == 303
    page = tuner.get(case)
    assert "Exhaust: not stock (Owner keeps it)" in text_of(page)
    assert 'name="part_note" value="Owner keeps it"' in page.text


def test_a_form_sent_twice_is_recorded_once(tuner: Browser, car: Car, case: str, sqlite_engine: Engine) -> None:
    through(tuner, case, car, "supply")
    fields, key = {"outcome": "completed"}, "f" * 24
    tuner.submit(f"{case}/steps/flash.{car.unit_id}", fields, key=key)
    before = entries(sqlite_engine)
    again = tuner.submit(f"{case}/steps/flash.{car.unit_id}", fields, key=key)
    assert again.headers["location"] == f"{case}#step-flash-{car.unit_id}"
    assert entries(sqlite_engine) == before


def test_evidence_recorded_elsewhere_is_offered(tuner: Browser, car: Car, case: str, sqlite_engine: Engine) -> None:
    scan = {"hardware_number": "HW-2204", "software_number": "SW-77A"}
    assert tuner.submit(f"/control-units/{car.unit_id}/identity-checks", scan).status_code == 303
    page = tuner.get(case).text
    found = re.search(r'name="record_id" value="(\d+)"', page)
    assert found is not None
    fields = {"use_record": "yes", "record_id": found[1]}
    assert hand_in(tuner, case, f"identify.{car.unit_id}", fields).status_code == 303
    assert "1 of 11 steps done" in text_of(tuner.get(case))


def test_verification_pulls_are_chosen_and_compared(tuner: Browser, car: Car, case: str, sqlite_engine: Engine) -> None:
    through(tuner, case, car, "readiness")
    assert "No dyno session since this restore was opened" in text_of(tuner.get(case))
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert isinstance(person, Person)
        pulls = verification(session, person, car, datetime.now(UTC), levels=(1.002, 1.004, 0.999))
    assert f'<option value="{pulls}" selected>verification' in tuner.get(case).text
    assert hand_in(tuner, case, "pull", {"record_id": str(pulls)}).status_code == 303
    page = text_of(tuner.get(case))
    assert "Equivalent to the baseline" in page
    assert "11 of 11 steps done. Next: Sign off." in page


def test_an_unknown_step_or_case_is_not_found(tuner: Browser, car: Car, case: str) -> None:
    assert hand_in(tuner, case, "nothing").status_code == 404
    assert hand_in(tuner, "/restores/99", "supply").status_code == 404
    assert tuner.get("/restores/99").status_code == 404
    assert tuner.get("/restores/99/certificate").status_code == 404


# Overrides, signatures, the certificate


def overriding(manager: Browser, case: str, key: str, **changed: str) -> Response:
    fields = {"reason": REASON, "password": PASSWORD, "confirmed": "yes"} | changed
    return manager.submit(f"{case}/steps/{key}/override", fields)


def test_only_managers_are_offered_an_override_and_it_needs_their_password(
    tuner: Browser, manager: Browser, car: Car, case: str
) -> None:
    through(tuner, case, car, "faults")
    assert "/override" not in tuner.get(case).text
    assert "/override" in manager.get(case).text
    assert overriding(tuner, case, "readiness").status_code == 403
    wrong = overriding(manager, case, "readiness", password="not mine at all")
    assert wrong.status_code == 422
    assert "The password is wrong" in text_of(wrong)
    assert REASON in wrong.text
    assert "not mine at all" not in wrong.text
    assert overriding(manager, case, "readiness", reason="no").status_code == 422
    assert overriding(manager, case, "readiness").status_code == 303
    page = tuner.get(case)
    assert f"by manager, {datetime.now(UTC).day}" in text_of(page)
    assert REASON in page.text


def test_wrong_passwords_are_counted_as_at_sign_in(
    tuner: Browser, manager: Browser, car: Car, case: str, sqlite_engine: Engine
) -> None:
    through(tuner, case, car, "faults")
    for number in range(5):
        assert overriding(manager, case, "readiness", password=f"guess number {number}").status_code == 422
    assert overriding(manager, case, "readiness").status_code == 422
    with reading(sqlite_engine) as session:
        person = people.by_name(session, "manager")
        assert person is not None
        assert (person.failed_sign_ins, person.locked_until is not None) == (5, True)


def signing(who: Browser, case: str, name: str, **changed: str) -> Response:
    return who.submit(f"{case}/sign-off", {"name": name, "password": PASSWORD, "confirmed": "yes"} | changed)


def test_a_signed_restore_prints_its_certificate(tuner: Browser, manager: Browser, car: Car, case: str) -> None:
    through(tuner, case, car, "readiness")
    draft = tuner.get(f"{case}/certificate")
    assert 'data-mark="draft"' in draft.text
    assert "10 of 11 checks verified, 1 not verified." in text_of(draft)
    assert signing(tuner, case, "tuner").status_code == 409
    assert overriding(manager, case, "pull").status_code == 303
    assert signing(tuner, case, "somebody").status_code == 422
    answer = signing(tuner, case, "tuner")
    assert answer.headers["location"] == f"{case}/certificate"
    page = tuner.get(f"{case}/certificate")
    text = text_of(page)
    assert 'data-mark="draft"' not in page.text
    assert "Certificate of restore to stock" in text
    assert f"Reason given by manager: “{REASON}”" in text
    assert "It does not state that the vehicle was never modified" in text
    assert "All 8,192 compared bytes equal stock." in text
    assert text_of(tuner.get(f"{case}/certificate")) == text
    checklist = tuner.get(case)
    assert "nothing changes here any more. To restore again, open a new case" in text_of(checklist)
    assert f'action="{case}' not in checklist.text


def test_the_second_signature_is_another_persons(tuner: Browser, manager: Browser, car: Car) -> None:
    opened = tuner.submit(f"/vehicles/{car.vehicle_id}/restores", opening(car, two_sign_offs="yes"))
    case = str(opened.headers["location"])
    through(tuner, case, car, "readiness")
    overriding(manager, case, "pull")
    assert signing(tuner, case, "tuner").headers["location"] == f"{case}#sign-off"
    assert "The second signature must be another person's" in text_of(tuner.get(case))
    assert signing(tuner, case, "tuner").status_code == 409
    assert signing(manager, case, "manager").headers["location"] == f"{case}/certificate"


def test_the_code_on_the_certificate_carries_the_configured_address_and_nothing_inline(
    app: FastAPI, car: Car, case: str, sqlite_engine: Engine
) -> None:
    settings = Settings(database_url="", base_url="http://shop.example", hosts=("shop.example",))
    with Browser(create_app(settings, sqlite_engine)) as browser:
        browser.cookies.set("revledger", token_for(sqlite_engine, "tuner"))
        body = browser.get(f"{case}/certificate").text
    assert f"http://shop.example{case}/certificate" in body
    drawing = re.search(r"<svg[^>]*certificate-code.*?</svg>", body, re.S)
    assert drawing is not None
    assert "style" not in drawing[0]


def test_without_a_configured_address_no_code_is_drawn(tuner: Browser, case: str) -> None:
    body = tuner.get(f"{case}/certificate").text
    assert "certificate-code" not in body
    assert "REVLEDGER_BASE_URL" in body


def test_a_replaced_case_leads_to_the_one_that_took_its_place(
    tuner: Browser, car: Car, case: str, browser: Callable[[str | None], Browser]
) -> None:
    second = tuner.submit(f"/vehicles/{car.vehicle_id}/restores", opening(car)).headers["location"]
    page = tuner.get(case)
    assert f'href="{second}"' in page.text
    assert f'action="{case}' not in page.text
    answer = hand_in(tuner, case, "supply", {"lowest_v": "13", "highest_v": "14"})
    assert answer.status_code == 409
    assert "Restore 2 took the place of this one" in text_of(answer)


WHY = "The owner drives on with the revision."


def test_a_restore_that_is_not_finished_is_abandoned_with_a_reason(
    tuner: Browser, car: Car, case: str, browser: Callable[[str | None], Browser]
) -> None:
    assert f'action="{case}/abandon"' in tuner.get(case).text
    assert f'action="{case}/abandon"' not in browser("front_desk").get(case).text
    short = tuner.submit(f"{case}/abandon", {"reason": "no"})
    assert short.status_code == 422
    assert "why this restore is not finished" in text_of(short)
    assert re.search(r'<textarea id="reason"[^>]*>\s*no</textarea>', short.text)
    assert tuner.submit(f"{case}/abandon", {"reason": WHY}).headers["location"] == case
    page = tuner.get(case)
    assert f"Ended without a certificate by tuner, {datetime.now(UTC).day}" in text_of(page)
    assert f'action="{case}' not in page.text
    assert WHY in text_of(tuner.get(f"/vehicles/{car.vehicle_id}"))
    listed = text_of(tuner.get(f"/vehicles/{car.vehicle_id}/restores"))
    assert "abandoned" in listed
    assert "still open" not in listed
    assert "This is a draft and stays one" in text_of(tuner.get(f"{case}/certificate"))


def test_photos_of_a_restore_stand_beside_its_checklist(
    tuner: Browser, car: Car, case: str, browser: Callable[[str | None], Browser]
) -> None:
    files = [("file", ("filter.jpg", png(), "image/png")), ("file", ("meter.txt", b"13.4 V"))]
    fields = {"kind": "photo", "restore_id": case.rsplit("/", 1)[1], "note": "Restore 1, air filter"}
    sent = browser("front_desk").submit(f"/vehicles/{car.vehicle_id}/files", fields, files=files)
    assert sent.headers["location"] == f"{case}#photos"
    page = tuner.get(case)
    assert re.findall(r'<img src="/attachments/(\d+)/picture" alt="Restore 1, air filter"', page.text) == ["1"]
    assert "meter.txt , Restore 1, air filter" in text_of(page)
    tuner.submit(f"{case}/abandon", {"reason": WHY})
    closed = tuner.get(case)
    assert "filter.jpg" in closed.text
    assert 'name="restore_id"' not in closed.text
    assert "Ended with 0 of 11 steps done." in text_of(closed)


def test_a_photo_that_cannot_be_taken_is_refused_on_the_checklist(tuner: Browser, car: Car, case: str) -> None:
    fields = {"kind": "photo", "restore_id": case.rsplit("/", 1)[1], "note": "The left injector"}
    answer = tuner.submit(f"/vehicles/{car.vehicle_id}/files", fields, files=[("file", ("dark.jpg", b""))])
    assert answer.status_code == 422
    assert "dark.jpg is empty; choose the file again." in text_of(answer)
    assert "<title>Restore, " in answer.text
    assert 'value="The left injector"' in answer.text


def test_photos_are_kept_with_the_parts_that_they_show_and_close_nothing_by_themselves(
    tuner: Browser, car: Car, case: str
) -> None:
    through(tuner, case, car, "compare_coding")
    rows = {"part_name": ["Air filter"], "part_state": ["not seen"], "part_note": ["left"]}

    def parts(state: str, name: str, data: bytes) -> Response:
        told = rows | {"part_state": [state]}
        return tuner.submit(f"{case}/steps/parts", told, files=[("photos", (name, data, "image/png"))])

    refused = parts("stock", "filter.jpg", b"no picture at all")
    assert refused.status_code == 422
    assert "“filter.jpg” is no photo" in text_of(refused)
    assert 'value="Air filter"' in refused.text

    assert parts("not seen", "filter.jpg", png()).status_code == 303
    step = tuner.get(case).text.split('id="step-parts"')[1].split('id="step-faults"')[0]
    assert "Not looked at: Air filter" in step  # a photo alone is no verdict
    assert '<img src="/attachments/1/picture" alt="filter.jpg"' in step

    assert parts("stock", "filter.jpg", png()).status_code == 303
    step = tuner.get(case).text.split('id="step-parts"')[1].split('id="step-faults"')[0]
    assert "1 part seen in stock state." in step
    assert "photo kept: filter.jpg" in step
    printed = text_of(tuner.get(f"{case}/certificate"))
    assert "Photo, Go through the physical parts: filter.jpg" in printed
    assert hashlib.sha256(png()).hexdigest() in printed


def test_a_photo_from_before_the_restore_proves_nothing_for_it(tuner: Browser, car: Car) -> None:
    tuner.submit(f"/vehicles/{car.vehicle_id}/files", {"kind": "photo"}, files=[("file", ("meter.png", png()))])
    case = str(tuner.submit(f"/vehicles/{car.vehicle_id}/restores", opening(car)).headers["location"])
    through(tuner, case, car, "secure_stock")
    volts = {"lowest_v": "13.2", "highest_v": "13.8"}
    answer = tuner.submit(f"{case}/steps/supply", volts, files=[("photos", ("meter.png", png(), "image/png"))])
    assert answer.status_code == 409
    assert "“meter.png” is on record from before this restore; take a new one now." in text_of(answer)
    assert 'value="13.2"' in answer.text
