"""Intake at the front desk: numbers against the record, faults as pasted, coding kept."""

import pytest
from sqlalchemy import Engine

from tests.browser import Browser
from tests.pages.prepared import content, entries, is_whole, refusal, said, shop_on
from tests.shop import CODING

CODING_FILE = b"module;key;value\nBody;long coding;0A 1F 22\nGateway;installed;01 02\n"


@pytest.fixture
def unit(app: object, sqlite_engine: Engine) -> int:
    """A car (1) with one control unit whose numbers are known; its id."""
    with shop_on(sqlite_engine) as shop:
        vehicle = shop.car(plate="RL 12-AB", odometer_km=81_250.0)
        return shop.unit(vehicle, calibration_ids=("CAL-1",), cvns=("0000BEEF",)).id


def test_intake_leads_through_the_arrival(front_desk: Browser, unit: int) -> None:
    text = content(front_desk.get("/vehicles/1/intake"))
    for words in (
        "The car is booked in.",
        "HW-engine",
        "0000BEEF",
        "Fault list as the scan tool prints it",
        "No snapshot yet",
        "No signed authorisation is attached.",
        "it is asked for before release",
    ):
        assert words in text, words


def test_matching_numbers_say_that_the_history_applies(front_desk: Browser, unit: int, sqlite_engine: Engine) -> None:
    form = {
        "hardware_number": "hw-engine",
        "software_number": "SW-engine-1",
        "calibration_ids": "CAL-1",
        "cvns": "beef",
    }
    answer = front_desk.submit(f"/control-units/{unit}/identity-checks", form, key="k" * 24)
    assert answer.status_code == 303
    text = content(front_desk.get(answer.headers["location"]))
    assert "Every number that was compared agrees: the history on record applies to this unit." in text
    before = entries(sqlite_engine)
    again = front_desk.submit(f"/control-units/{unit}/identity-checks", form, key="k" * 24)
    assert again.headers["location"] == answer.headers["location"]
    assert entries(sqlite_engine) == before
    assert is_whole(sqlite_engine)


def test_other_numbers_say_field_by_field_what_differs(front_desk: Browser, tuner: Browser, unit: int) -> None:
    form = {"hardware_number": "HW-engine", "software_number": "SW-dealer"}
    location = front_desk.submit(f"/control-units/{unit}/identity-checks", form).headers["location"]
    text = content(front_desk.get(location))
    assert "Differs: software number." in text
    assert "Software number SW-engine-1 SW-dealer" in text
    assert "Do not flash: what is on the unit is not known." in text
    assert front_desk.submit(f"{location}/accept", {"reason": "Dealer."}).status_code == 403
    empty = tuner.submit(f"{location}/accept", {"reason": "  ", "confirmed": "yes"})
    assert empty.status_code == 422
    assert refusal(empty).startswith("Write why the numbers changed")
    taken = tuner.submit(f"{location}/accept", {"reason": "Dealer update, invoice seen.", "confirmed": "yes"})
    assert (taken.status_code, taken.headers["location"]) == (303, location)
    assert "New numbers were accepted after this check." in content(front_desk.get(location))
    assert "SW-dealer" in content(front_desk.get(f"/control-units/{unit}"))


def test_an_intake_is_worked_through_on_one_page(front_desk: Browser, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        unit = shop.unit(shop.car()).id
    page, back = "/vehicles/1/intake", {"back": "intake"}
    arrived = front_desk.submit("/vehicles/1/visits", {"reason": "Service", "odometer": "120", **back})
    assert arrived.headers["location"] == page + "#identity"
    numbers = {"hardware_number": "HW-engine", "software_number": "SW-engine-1"}
    compared = front_desk.submit(f"/control-units/{unit}/identity-checks", numbers | back)
    assert compared.headers["location"] == page + "#faults"
    scanned = front_desk.submit("/vehicles/1/fault-scans", {"text": "P0301 misfire", **back})
    assert scanned.headers["location"] == page + "#coding"
    signed = {"file": ("signed.jpg", b"a photo")}
    attached = front_desk.submit("/vehicles/1/files", {"kind": "authorisation", **back}, files=signed)
    assert attached.headers["location"] == page + "#authorisation"
    text = content(front_desk.get(page))
    for words in ("The car is booked in.", "Last check", "as found: 1 code", "A signed authorisation is attached."):
        assert words in text, words
    assert is_whole(sqlite_engine)


def test_other_numbers_stop_the_intake_and_lead_back_to_it(front_desk: Browser, unit: int) -> None:
    numbers = {"hardware_number": "HW-engine", "software_number": "SW-dealer", "back": "intake"}
    location = front_desk.submit(f"/control-units/{unit}/identity-checks", numbers).headers["location"]
    assert location.startswith("/identity-checks/")
    assert 'href="/vehicles/1/intake#faults"' in front_desk.get(location).text


def test_what_the_intake_page_refuses_comes_back_on_it_as_typed(front_desk: Browser, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        shop.car()
    back = {"back": "intake"}
    for path, typed in (
        ("/vehicles/1/visits", {"reason": "Warranty visit", "odometer": "many"}),
        ("/vehicles/1/fault-scans", {"text": "The engine runs rough."}),
        ("/vehicles/1/files", {"kind": "authorisation"}),
    ):
        answer = front_desk.submit(path, typed | back)
        assert answer.status_code == 422
        assert "<h1>Intake</h1>" in answer.text
        for name, value in typed.items():
            assert value in answer.text, name


def test_a_scan_of_nothing_is_refused(front_desk: Browser, unit: int, sqlite_engine: Engine) -> None:
    before = entries(sqlite_engine)
    answer = front_desk.submit(f"/control-units/{unit}/identity-checks", {"hardware_number": "  "})
    assert answer.status_code == 422
    assert refusal(answer).startswith("Nothing was scanned")
    assert entries(sqlite_engine) == before


def test_what_can_be_no_verification_number_never_becomes_the_one_on_record(
    front_desk: Browser, unit: int, sqlite_engine: Engine
) -> None:
    before = entries(sqlite_engine)
    typed = {"hardware_number": "HW-engine", "cvns": "ZZ"}
    answer = front_desk.submit(f"/control-units/{unit}/identity-checks", typed)
    assert answer.status_code == 422
    assert refusal(answer) == "“ZZ” is no calibration verification number: copy its 8 hex digits from the scan."
    assert "ZZ</textarea>" in answer.text
    assert entries(sqlite_engine) == before


def test_faults_are_kept_as_pasted_and_read(front_desk: Browser, unit: int, sqlite_engine: Engine) -> None:
    form = {
        "text": "Engine\nP0301 Cylinder 1 misfire - confirmed\nU0100 Lost communication\n",
        "occasion": "as found",
        "readiness": "00 07 E5 01",
    }
    answer = front_desk.submit("/vehicles/1/fault-scans", form, key="k" * 24)
    text = content(front_desk.get(answer.headers["location"]))
    for words in ("2 fault codes found.", "P0301", "U0100", "Cylinder 1 misfire", "Readiness monitors", "not complete"):
        assert words in text, words
    assert "as found" in content(front_desk.get("/vehicles/1/fault-scans"))
    before = entries(sqlite_engine)
    front_desk.submit("/vehicles/1/fault-scans", form, key="k" * 24)
    assert entries(sqlite_engine) == before


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"text": "The engine runs rough."}, "fault"),
        ({"text": ""}, ""),
        ({"text": "P0301 misfire", "readiness": "00 07"}, ""),
        ({"text": "P0301 misfire", "readiness": "green"}, ""),
    ],
)
def test_a_list_that_cannot_be_read_comes_back_as_typed(
    front_desk: Browser, unit: int, sqlite_engine: Engine, typed: dict[str, str], sentence: str
) -> None:
    before = entries(sqlite_engine)
    answer = front_desk.submit("/vehicles/1/fault-scans", {"occasion": "after clearing", **typed})
    assert answer.status_code == 422
    assert sentence in refusal(answer)
    assert refusal(answer)
    for value in (*typed.values(), "after clearing"):
        assert value in answer.text
    assert entries(sqlite_engine) == before


def test_coding_is_kept_from_a_file_or_pasted_and_compared(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    first = tuner.submit("/vehicles/1/coding", {"occasion": "as found"}, files={"file": ("coding.csv", CODING_FILE)})
    assert (first.status_code, first.headers["location"]) == (303, "/coding-snapshots/1")
    text = content(tuner.get("/coding-snapshots/1"))
    for module, keys in CODING.items():
        for key, value in keys.items():
            assert module in text
            assert f"{key} {value}" in text
    pasted = CODING_FILE.decode().replace("22", "23")
    assert tuner.submit("/vehicles/1/coding", {"text": pasted, "occasion": "later"}, files={}).status_code == 303
    listed = content(tuner.get("/vehicles/1/coding"))
    assert listed.index("later") < listed.index("as found")
    compared = content(tuner.get("/coding-snapshots/1/compare/2"))
    assert "Body long coding changed 0A 1F 22 0A 1F 23 byte 2: 22 → 23 (bit 0)" in compared
    assert is_whole(sqlite_engine)


def test_coding_that_cannot_be_read_comes_back_as_pasted(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    before = entries(sqlite_engine)
    answer = tuner.submit("/vehicles/1/coding", {"text": "Body;long coding\n", "occasion": "after flash"})
    assert answer.status_code == 422
    assert "Body;long coding" in answer.text
    assert 'value="after flash"' in answer.text
    nothing = tuner.submit("/vehicles/1/coding", {"occasion": "after flash"})
    assert (nothing.status_code, refusal(nothing)) == (422, "Choose a file.")
    assert entries(sqlite_engine) == before


def test_the_front_desk_reads_coding_and_keeps_none(front_desk: Browser, unit: int) -> None:
    assert front_desk.get("/vehicles/1/coding").status_code == 200
    answer = front_desk.submit("/vehicles/1/coding", {"text": CODING_FILE.decode()})
    assert answer.status_code == 403
    assert "Only a tuner or a manager may do this" in said(answer)
