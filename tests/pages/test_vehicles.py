"""Registering, finding, booking in and handing over a car, as the front desk does it."""

import re
from dataclasses import dataclass

import pytest
from sqlalchemy import Engine

from app.record import vehicles
from app.record.engine import reading
from tests.browser import Browser
from tests.pages.prepared import content, entries, is_whole, refusal, said, shop_on
from tests.pictures import png
from tests.shop import STOCK, changed

FORM = {
    "vin": "U9ZSHP2A5K0000042",
    "plate": "ab 12 cd",
    "make": "Velmora",
    "model": "Sirrus",
    "year": "2021",
    "customer_name": "R. Halle",
    "customer_contact": "r.halle@example",
    "engine": "2.0 L four-cylinder",
    "fuel": "petrol",
    "boosted": "yes",
    "driven_axles": "all",
    "rated_power": "180",
    "rated_torque": "350",
    "test_mass": "1 560,5",
    "gear_ratios": "3.6 2.1 1.4",
    "final_drive": "3.9",
    "loses_coding": "yes",
    "odometer": "81250",
    "visit_reason": "Wants more torque.",
}


def test_a_car_is_registered_with_what_was_typed(front_desk: Browser, sqlite_engine: Engine) -> None:
    answer = front_desk.submit("/vehicles", FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, "/vehicles/1")
    with reading(sqlite_engine) as session:
        vehicle = vehicles.vehicle(session, 1)
        assert (vehicle.plate, vehicle.year, vehicle.driven_axles, vehicle.boosted) == ("AB 12 CD", 2021, "all", True)
        assert (vehicle.rated_power_kw, vehicle.test_mass_kg) == (180.0, 1560.5)
        assert vehicle.gear_ratios == [3.6, 2.1, 1.4]
        assert vehicles.odometer_km(session, 1) is not None
    text = said(front_desk.get("/vehicles/1"))
    for words in ("Velmora Sirrus · AB 12 CD", "U9ZSHP2A5K0000042", "R. Halle", "180", "81,250", "No control unit on"):
        assert words in text, words
    assert entries(sqlite_engine) == 1
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [
        ({"vin": ""}, 422, "No VIN was given"),
        ({"vin": "U9ZSHP2A5KO000042"}, 422, "Position 11 holds the letter O"),
        ({"make": ""}, 422, "The make is missing"),
        ({"year": "next"}, 422, "Model year: “next” is no number."),
        ({"rated_power": "1,234"}, 422, "can be read in two ways"),
        ({"rated_power": "9000"}, 422, "Rated power: 9000 kW lies outside"),
        ({"gear_ratios": "3.6 x"}, 422, "Gear ratios: “x” is no number."),
        ({"odometer": "-5"}, 422, "lies outside"),
        ({"fuel": "hope"}, 422, "Fuel: choose one of"),
        ({"driven_axles": "left"}, 422, "choose one of front, rear, all"),
        ({"plate": "X" * 25}, 422, "24 characters"),
    ],
)
def test_a_refused_form_says_why_and_keeps_what_was_typed(
    front_desk: Browser, sqlite_engine: Engine, typed: dict[str, str], status: int, sentence: str
) -> None:
    answer = front_desk.submit("/vehicles", FORM | typed)
    assert answer.status_code == status
    assert sentence in refusal(answer)
    for name, value in (FORM | typed).items():
        if name in ("model", "customer_name", "test_mass", "visit_reason", *typed) and name not in (
            "fuel",
            "driven_axles",
        ):
            assert value in answer.text, name
    assert entries(sqlite_engine) == 0


def test_a_car_that_is_on_record_is_pointed_at(front_desk: Browser, sqlite_engine: Engine) -> None:
    front_desk.submit("/vehicles", FORM)
    answer = front_desk.submit("/vehicles", FORM | {"plate": "other"})
    assert answer.status_code == 409
    assert "is on record already: Velmora Sirrus AB 12 CD (vehicle 1)" in refusal(answer)
    assert entries(sqlite_engine) == 1


def test_the_form_sent_twice_registers_once(front_desk: Browser, sqlite_engine: Engine) -> None:
    answers = [front_desk.submit("/vehicles", FORM, key="k" * 24) for _ in range(2)]
    assert [one.headers["location"] for one in answers] == ["/vehicles/1"] * 2
    assert entries(sqlite_engine) == 1


def test_a_field_that_the_form_does_not_have_is_refused(front_desk: Browser, sqlite_engine: Engine) -> None:
    assert front_desk.submit("/vehicles", FORM | {"pinned": "yes"}).status_code == 422
    assert entries(sqlite_engine) == 0


@dataclass(frozen=True)
class Cars:
    """Ids of what is on record."""

    vehicle: int
    unit: int
    other: int


@pytest.fixture
def cars(app: object, sqlite_engine: Engine) -> Cars:
    """One car with stock and a flashed revision whose coding is pending, and another one."""
    with shop_on(sqlite_engine) as shop:
        vehicle = shop.car(plate="RL 12-AB", customer_name="R. Halle", odometer_km=81_250.0, visit_reason="Torque.")
        unit = shop.unit(vehicle)
        shop.stock(unit)
        shop.flash(unit, shop.revision(unit, changed(STOCK, 0x700)))
        return Cars(vehicle.id, unit.id, shop.car(plate="XY 900").id)


def test_the_list_and_the_search_find_cars(front_desk: Browser, cars: Cars) -> None:
    text = content(front_desk.get("/vehicles"))
    assert text.index("XY 900") < text.index("RL 12-AB")
    assert "XY 900" not in content(front_desk.get("/vehicles?q=rl12"))
    assert "No car has “zzz”" in said(front_desk.get("/vehicles?q=zzz"))
    found = front_desk.get("/search?q=halle")
    assert (found.status_code, found.headers["location"]) == (303, f"/vehicles/{cars.vehicle}")
    many = front_desk.get("/search?q=velmora")
    assert many.status_code == 200
    assert "RL 12-AB" in content(many)
    assert "XY 900" in content(many)
    part = front_desk.get("/search?q=velmora", headers={"hx-request": "true"})
    assert "<html" not in part.text
    assert "RL 12-AB" in part.text


def test_a_cars_page_leads_with_what_is_on_it_and_what_waits(front_desk: Browser, cars: Cars) -> None:
    text = said(front_desk.get(f"/vehicles/{cars.vehicle}"))
    assert "Engine: Revision 1 “Stage one”, from the flash log." in text
    assert "Coding pending: write it back and verify it before the engine is first started." in text
    assert "The last write to the engine control unit was not read back." in text
    for line in ("registered.", "Two reads agree: stock confirmed", "Flash of engine with revision 1"):
        assert line in text
    flashes = said(front_desk.get(f"/vehicles/{cars.vehicle}?topic=flashes"))
    assert "Flash of engine with revision 1" in flashes
    assert "registered." not in flashes.split("History", 1)[1]


def test_every_page_warns_of_pending_coding(tuner: Browser, cars: Cars) -> None:
    for page in ("/", "/vehicles", f"/vehicles/{cars.other}", "/journal", "/layouts", "/vehicles/99"):
        text = said(tuner.get(page))
        assert "Do not start the engine of Velmora Sirrus · RL 12-AB Coding pending" in text, page


def test_a_car_does_not_leave_while_its_coding_is_pending(
    front_desk: Browser, cars: Cars, sqlite_engine: Engine
) -> None:
    before = entries(sqlite_engine)
    answer = front_desk.submit(f"/vehicles/{cars.vehicle}/leave")
    assert answer.status_code == 409
    assert "Coding is pending on this car" in said(answer)
    assert entries(sqlite_engine) == before


def test_a_car_arrives_and_leaves(front_desk: Browser, cars: Cars, sqlite_engine: Engine) -> None:
    address = f"/vehicles/{cars.other}"
    assert front_desk.submit(f"{address}/leave").status_code == 409
    arrived = front_desk.submit(f"{address}/visits", {"reason": "Service", "odometer": "40000"})
    assert (arrived.status_code, arrived.headers["location"]) == (303, address)
    again = front_desk.submit(f"{address}/visits", {"reason": "Service", "odometer": "40001"})
    assert again.status_code == 409
    gone = front_desk.submit(f"{address}/leave")
    assert (gone.status_code, gone.headers["location"]) == (303, f"{address}?done=left")
    back = front_desk.submit(f"{address}/visits", {"reason": "Knocks", "odometer": "39000"})
    assert back.status_code == 422
    assert "The odometer shows 39,000 km, but 40,000 km were read" in said(back)
    assert 'value="39000"' in back.text
    assert 'value="Knocks"' in back.text
    assert is_whole(sqlite_engine)


def test_a_pinned_car_stands_on_the_first_page(front_desk: Browser, cars: Cars) -> None:
    pinned = front_desk.submit(f"/vehicles/{cars.other}/pin").headers["location"]
    assert "The car is pinned" in content(front_desk.get(pinned))
    assert "Pinned Velmora Sirrus · XY 900" in content(front_desk.get("/"))
    back = front_desk.submit(f"/vehicles/{cars.other}/pin", {"back": "today"})
    assert back.headers["location"] == f"/?unpinned={cars.other}"
    assert "Pinned" not in content(front_desk.get("/"))
    told = front_desk.get(back.headers["location"])
    assert "Velmora Sirrus · XY 900 is no longer pinned." in content(told)
    assert "Pin it again" in told.text
    again = front_desk.submit(f"/vehicles/{cars.other}/pin", {"back": "today"})
    assert again.headers["location"] == "/"
    assert "is no longer pinned" not in content(front_desk.get(f"/?unpinned={cars.other}"))
    assert "The car is no longer pinned" not in content(front_desk.get(f"/vehicles/{cars.other}?done=unpinned"))


def test_a_handover_recorded_by_mistake_is_taken_back(front_desk: Browser, cars: Cars, sqlite_engine: Engine) -> None:
    address = f"/vehicles/{cars.other}"
    assert front_desk.submit(f"{address}/reopen").status_code == 409
    front_desk.submit(f"{address}/visits", {"reason": "Service", "odometer": "40000"})
    assert front_desk.submit(f"{address}/reopen").status_code == 409
    told = front_desk.get(front_desk.submit(f"{address}/leave").headers["location"])
    assert "The car was handed over" in content(told)
    assert f'action="{address}/reopen"' in told.text
    back = front_desk.submit(f"{address}/reopen")
    assert (back.status_code, back.headers["location"]) == (303, address)
    page = front_desk.get(f"{address}?done=left")
    assert "The car was handed over" not in content(page)
    assert "Hand over: the car leaves" in page.text
    assert "Handover taken back: the car is still in the shop." in content(page)
    assert is_whole(sqlite_engine)


def test_a_file_is_kept_shown_once_and_only_downloaded(front_desk: Browser, cars: Cars, sqlite_engine: Engine) -> None:
    address = f"/vehicles/{cars.vehicle}/files"
    data = b"<script>pwned()</script>"
    file = {"file": ("../../signed form.html", data, "text/html")}
    form = {"kind": "authorisation", "note": "Signed by the owner."}
    before = entries(sqlite_engine)
    assert front_desk.submit(address, form, files=file).status_code == 303
    assert front_desk.submit(address, form, files=file).status_code == 303
    assert entries(sqlite_engine) == before + 1
    page = front_desk.get(f"/vehicles/{cars.vehicle}").text
    assert "Signed by the owner." in page
    download = front_desk.get("/attachments/1")
    assert download.content == data
    assert download.headers["content-type"] == "application/octet-stream"
    assert download.headers["content-disposition"].startswith('attachment; filename="signed form.html"')
    assert front_desk.submit(address, form).status_code == 422
    assert front_desk.get("/attachments/99").status_code == 404


def test_a_key_tag_leads_to_its_car(front_desk: Browser, cars: Cars) -> None:
    found = front_desk.get("/vehicles/by-vin/u9zshp2a5k0000001")
    assert (found.status_code, found.headers["location"]) == (303, f"/vehicles/{cars.vehicle}")
    assert front_desk.get("/vehicles/by-vin/U9ZSHP2A5K9999999").status_code == 404


@pytest.mark.parametrize("address", ["/vehicles/99", "/vehicles/99/intake", "/vehicles/99/coding", "/control-units/99"])
def test_what_is_not_on_record_is_not_found(tuner: Browser, address: str) -> None:
    answer = tuner.get(address)
    assert answer.status_code == 404
    assert "There is no " in said(answer)


def test_a_control_unit_is_added_with_its_numbers(tuner: Browser, cars: Cars) -> None:
    form = {
        "role": "transmission",
        "hardware_number": "HW-9",
        "software_number": "SW-9",
        "calibration_ids": "CAL-1\nCAL-2",
        "cvns": "beef, 12345678",
        "base_address": "0x80000000",
    }
    answer = tuner.submit(f"/vehicles/{cars.other}/control-units", form)
    assert answer.status_code == 303
    text = said(tuner.get(answer.headers["location"]))
    for words in ("HW-9", "CAL-1, CAL-2", "0000BEEF, 12345678", "0x80000000"):
        assert words in text
    again = tuner.submit(f"/vehicles/{cars.other}/control-units", form | {"hardware_number": "hw-9"})
    assert again.status_code == 409
    assert "has a control unit transmission" in refusal(again)
    assert "CAL-2" in again.text
    bad = tuner.submit(f"/vehicles/{cars.other}/control-units", form | {"base_address": "0xZZ", "role": "body"})
    assert bad.status_code == 422
    assert refusal(bad) == "“0xZZ” is no address; write it in hexadecimal, like 0x8120."
    assert 'value="0xZZ"' in bad.text
    none = tuner.submit(f"/vehicles/{cars.other}/control-units", form | {"cvns": "beef, ZZ", "role": "body"})
    assert refusal(none) == "“ZZ” is no calibration verification number: copy its 8 hex digits from the scan."
    bare = tuner.submit(f"/vehicles/{cars.other}/control-units", form | {"base_address": "8000", "role": "body"})
    assert "0x8000 " in said(tuner.get(bare.headers["location"])) + " "
    far = tuner.submit(f"/vehicles/{cars.other}/control-units", form | {"base_address": "100000000", "role": "other"})
    assert refusal(far) == "The base address lies beyond 32 bits; write it like 0x80000000."


def test_a_photo_is_shown_as_what_it_is_and_anything_else_is_not(
    front_desk: Browser, cars: Cars, anonymous: Browser
) -> None:
    address = f"/vehicles/{cars.vehicle}/files"
    files = [
        ("file", ("bonnet.jpg", png(), "image/jpeg")),  # the content decides, not the name
        ("file", ("page.png", b"\x89PNG\r\n\x1a\n<script>pwned()</script>", "image/png")),
    ]
    assert front_desk.submit(address, {"kind": "photo"}, files=files).status_code == 303
    page = front_desk.get(f"/vehicles/{cars.vehicle}").text
    assert re.findall(r'<img src="/attachments/(\d+)/picture"', page) == ["1"]
    shown = front_desk.get("/attachments/1/picture")
    assert (shown.status_code, shown.content, shown.headers["content-type"]) == (200, png(), "image/png")
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert shown.headers["content-security-policy"] == "default-src 'none'; sandbox"
    assert front_desk.get("/attachments/2/picture").status_code == 404
    assert front_desk.get("/attachments/2").headers["content-disposition"].startswith("attachment")
    assert anonymous.get("/attachments/1/picture").headers["location"].startswith("/sign-in")


def test_a_file_sent_again_is_recognised_in_words(front_desk: Browser, cars: Cars) -> None:
    address = f"/vehicles/{cars.vehicle}/files"
    for _ in range(2):
        answer = front_desk.submit(address, {"kind": "sheet"}, files={"file": ("sheet.pdf", b"%PDF")})
    assert answer.headers["location"] == f"/vehicles/{cars.vehicle}?recognised=1#files"
    assert "sheet.pdf is attached already" in content(front_desk.get(f"/vehicles/{cars.vehicle}?recognised=1"))
    assert "attached already" not in content(front_desk.get(f"/vehicles/{cars.other}?recognised=1"))


def test_a_refused_file_says_so_at_its_field_and_keeps_none_of_the_others(front_desk: Browser, cars: Cars) -> None:
    files = [("file", ("whole.txt", b"whole")), ("file", ("void.txt", b""))]
    answer = front_desk.submit(f"/vehicles/{cars.vehicle}/files", {"kind": "other"}, files=files)
    assert answer.status_code == 422
    assert "void.txt is empty" in content(answer)
    assert 'aria-describedby="file-help file-error"' in answer.text
    assert "whole.txt" not in front_desk.get(f"/vehicles/{cars.vehicle}").text


def test_a_file_without_its_kind_comes_back_with_what_was_typed(front_desk: Browser, cars: Cars) -> None:
    address = f"/vehicles/{cars.vehicle}/files"
    typed = {"kind": "", "note": "Signed at the counter"}
    refused = front_desk.submit(address, typed, files={"file": ("signed.pdf", b"%PDF")})
    assert refused.status_code == 422
    assert 'id="kind-error"' in refused.text
    assert 'name="note" value="Signed at the counter"' in refused.text
    assert "Choose the files again" in refused.text
    missing = front_desk.submit(address, typed | {"kind": "sheet"})
    assert missing.status_code == 422
    assert 'id="file-error"' in missing.text
    assert '<option value="sheet" selected>' in missing.text
    assert 'name="note" value="Signed at the counter"' in missing.text


def test_a_file_attached_by_mistake_is_taken_back_with_a_reason(front_desk: Browser, cars: Cars) -> None:
    address = f"/vehicles/{cars.vehicle}/files"
    file = {"file": ("signed.pdf", b"%PDF signed")}
    front_desk.submit(address, {"kind": "authorisation"}, files=file)
    assert front_desk.submit("/attachments/1/withdraw", {"reason": ""}).status_code == 422
    short = front_desk.submit("/attachments/1/withdraw", {"reason": "no"})
    assert short.status_code == 422
    assert re.search(r'<details open>.*?id="withdraw-1" name="reason" value="no"', short.text, re.S)
    assert 'id="withdraw-1-error"' in short.text
    back = front_desk.submit("/attachments/1/withdraw", {"reason": "It is of another car."})
    assert back.headers["location"] == f"/vehicles/{cars.vehicle}?done=file-1#files"
    page = front_desk.get(f"/vehicles/{cars.vehicle}")
    assert ">signed.pdf</a>" not in page.text
    assert "taken back: It is of another car." in content(page)
    assert "No signed authorisation is attached." in content(front_desk.get(f"/vehicles/{cars.vehicle}/intake"))
    assert front_desk.get("/attachments/1").content == b"%PDF signed"
    assert front_desk.submit("/attachments/1/withdraw", {"reason": "Once more."}).status_code == 409
    front_desk.submit(address, {"kind": "authorisation"}, files=file)
    assert ">signed.pdf</a>" in front_desk.get(f"/vehicles/{cars.vehicle}").text


def test_a_file_taken_back_by_mistake_is_attached_again_from_what_is_stored(
    front_desk: Browser, cars: Cars, sqlite_engine: Engine
) -> None:
    form = {"kind": "authorisation", "note": "Signed at the counter"}
    front_desk.submit(f"/vehicles/{cars.vehicle}/files", form, files={"file": ("signed.pdf", b"%PDF signed")})
    assert front_desk.submit("/attachments/1/restore").status_code == 409
    told = front_desk.get(front_desk.submit("/attachments/1/withdraw", {"reason": "Wrong car."}).headers["location"])
    assert "signed.pdf was taken back." in content(told)
    assert told.text.count('action="/attachments/1/restore"') == 2  # beside what was just done, and in the list
    elsewhere = front_desk.get(f"/vehicles/{cars.other}?done=file-1")
    assert "signed.pdf" not in elsewhere.text
    back = front_desk.submit("/attachments/1/restore")
    assert (back.status_code, back.headers["location"]) == (303, f"/vehicles/{cars.vehicle}#files")
    page = front_desk.get(f"/vehicles/{cars.vehicle}?done=file-1")
    assert 'href="/attachments/2"' in page.text
    assert "Signed at the counter" in page.text
    assert "/attachments/1/restore" not in page.text
    assert "Attached file (authorisation) that was taken back is attached again." in content(page)
    assert front_desk.get("/attachments/2").content == b"%PDF signed"
    assert front_desk.submit("/attachments/1/restore").status_code == 409
    assert is_whole(sqlite_engine)


def test_pulls_that_came_one_after_the_other_make_one_line_of_the_history(
    front_desk: Browser, sqlite_engine: Engine
) -> None:
    with shop_on(sqlite_engine) as shop:
        vehicle = shop.car()
        measured = shop.dyno_session(vehicle, shop.dyno("Bay 2"), "baseline")
        for number in range(3):
            shop.pull(measured, b"pull %d" % number)
        address = f"/vehicles/{vehicle.id}"
    text = content(front_desk.get(address))
    assert "Pulls of 3 files added to the baseline session on Bay 2." in text
    assert "Pull 2 added" not in text
    assert "Pull 2 added to the baseline session on Bay 2." in content(front_desk.get("/journal"))


def test_a_refused_odometer_is_told_in_the_units_of_who_reads_it(front_desk: Browser, cars: Cars) -> None:
    front_desk.submit("/settings/preferences", {"distance": "mi"})
    address = f"/vehicles/{cars.other}"
    for odometer in ("50000", "40000"):
        back = front_desk.submit(f"{address}/visits", {"reason": "Knocks", "odometer": odometer})
        assert front_desk.submit(f"{address}/leave").status_code in (303, 409)
    assert re.search(r"The odometer shows 40,000\s*mi, but 50,000\s*mi were read", refusal(back)), refusal(back)


def test_a_car_that_is_in_the_shop_arrives_no_second_time(front_desk: Browser, cars: Cars) -> None:
    back = front_desk.submit(f"/vehicles/{cars.vehicle}/visits", {"reason": "Knocks", "odometer": ""})
    assert back.status_code == 409
    assert "is in the shop already" in refusal(back)
