"""A flash through its pages: before, the write, read-back, coding written back, first start; and its refusals."""

from dataclasses import dataclass

import pytest
from sqlalchemy import Engine

from tests.browser import Browser
from tests.pages.prepared import content, entries, is_whole, refusal, shop_on
from tests.shop import STOCK, changed, with_sum

READ = with_sum(STOCK)
TUNED = with_sum(changed(READ, 0x101, 0x700))
CODING = "module;key;value\nBody;long coding;0A 1F 22\nGateway;installed;01 02\n"
WRITE = {"what": "1", "outcome": "completed", "supply_before_v": "13,4", "supply_lowest_v": "13.1", "note": "Bay 1."}


@pytest.fixture
def unit(app: object, sqlite_engine: Engine) -> int:
    """Control unit 1 of car 1: layout, stock, coding and revision 1 on record, nothing flashed yet."""
    with shop_on(sqlite_engine) as shop:
        vehicle = shop.car(plate="RL 12-AB", odometer_km=81_250.0)
        shop.layout()
        unit = shop.unit(vehicle)
        shop.stock(unit, READ)
        shop.coding(vehicle)
        shop.revision(unit, TUNED)
        return unit.id


@pytest.fixture
def flashed(unit: int, tuner: Browser) -> str:
    """Address of a completed flash of revision 1."""
    return str(tuner.submit(f"/control-units/{unit}/flashes", WRITE).headers["location"])


def test_the_form_shows_what_can_be_written_and_what_to_mind(tuner: Browser, unit: int) -> None:
    text = content(tuner.get(f"/control-units/{unit}/flashes/new?revision=1"))
    for words in ("Revision 1 “Stage one” (draft)", "Stock", "Right car, right control unit", "at least 12.5 V"):
        assert words in text, words


def test_without_stock_there_is_nothing_to_write(tuner: Browser, unit: int) -> None:
    tuner.submit("/vehicles/1/control-units", {"role": "body", "hardware_number": "B1"})
    assert "read" in content(tuner.get("/control-units/2/flashes/new"))
    answer = tuner.submit("/control-units/2/flashes", WRITE | {"what": "stock"})
    assert answer.status_code == 409
    assert "No stock is confirmed" in answer.text


def test_the_guided_way_from_the_write_to_the_first_start(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    answer = tuner.submit(f"/control-units/{unit}/flashes", WRITE, key="k" * 24)
    page = answer.headers["location"]
    assert (answer.status_code, page) == (303, "/flashes/1")
    assert tuner.submit(f"/control-units/{unit}/flashes", WRITE, key="k" * 24).headers["location"] == page
    text = content(tuner.get(page))
    for words in ("Revision 1 “Stage one”", "completed", "13.1", "Coding is pending", "Not read back yet", "holds"):
        assert words in text, words

    answer = tuner.submit(f"{page}/read-back", files={"file": ("back.bin", TUNED)})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{page}#read-back")
    assert "equal All 4,080 compared bytes equal revision 1" in content(tuner.get(page))

    answer = tuner.submit(f"{page}/first-start", {"note": "Oil pressure seen."})
    assert answer.status_code == 409
    assert refusal(answer).startswith("Coding is pending: write the coding back")
    assert 'value="Oil pressure seen."' in answer.text

    answer = tuner.submit(f"{page}/coding-write-back", {"wanted_snapshot_id": "1", "text": CODING.replace("22", "23")})
    assert answer.status_code == 303
    text = content(tuner.get(page))
    assert "1 value still differs from the snapshot" in text
    assert "Body long coding 0A 1F 22 0A 1F 23" in text

    answer = tuner.submit(
        f"{page}/coding-write-back", {"wanted_snapshot_id": "1"}, files={"file": ("coding.csv", CODING.encode())}
    )
    assert (answer.status_code, answer.headers["location"]) == (303, f"{page}#coding")
    text = content(tuner.get(page))
    assert "Written back and read again: equal to the snapshot." in text
    assert "Coding is pending" not in text

    assert tuner.submit(f"{page}/first-start", {"note": "Oil pressure seen."}).status_code == 303
    text = content(tuner.get(page))
    assert "First started" in text
    assert "while coding was still pending" not in text
    assert tuner.submit(f"{page}/first-start", {"note": "again"}).status_code == 409
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [
        ({"what": ""}, 422, "Choose what was written."),
        ({"what": "77"}, 404, "There is no revision 77."),
        ({"what": "9" * 30}, 422, "Choose what was written."),
        ({"outcome": "fine"}, 422, "Say how the write ended"),
        ({"supply_before_v": "twelve"}, 422, "Voltage before: “twelve” is no number."),
        ({"supply_lowest_v": "134"}, 422, "134.0 V cannot be the supply voltage of a car"),
        ({"supply_before_v": "10", "supply_lowest_v": "13.5"}, 422, "were the two swapped?"),
        ({"sha256": "deadbeefdeadbeef"}, 422, "Do not flash it."),
    ],
)
def test_a_refused_write_says_why_and_keeps_what_was_typed(
    tuner: Browser, unit: int, sqlite_engine: Engine, typed: dict[str, str], status: int, sentence: str
) -> None:
    before = entries(sqlite_engine)
    answer = tuner.submit(f"/control-units/{unit}/flashes", WRITE | typed)
    assert answer.status_code == status
    assert sentence in refusal(answer)
    for name in ("supply_before_v", "supply_lowest_v", "note", "sha256"):
        assert (WRITE | typed).get(name, "") in answer.text
    assert entries(sqlite_engine) == before


def test_a_low_supply_is_warned_about_until_the_read_back_says_what_arrived(tuner: Browser, unit: int) -> None:
    low = WRITE | {"supply_before_v": "12.6", "supply_lowest_v": "10,9"}
    page = tuner.submit(f"/control-units/{unit}/flashes", low).headers["location"]
    said = "The supply stood at 10.9 V during the write, below the shop's 12.5 V: bytes may have arrived wrong"
    assert f"{said}. Read it back and compare." in content(tuner.get(page))
    waits = "The last write to the engine control unit ran at 10.9 V, below the shop's 12.5 V, and was not read back."
    assert waits in content(tuner.get("/vehicles/1"))
    assert waits in content(tuner.get("/"))
    tuner.submit(f"{page}/read-back", files={"file": ("back.bin", TUNED)})
    assert f"{said}; the read-back below says whether they did." in content(tuner.get(page))
    assert "below the shop's" not in content(tuner.get("/vehicles/1"))


@pytest.mark.parametrize(
    ("volts", "low", "rose"),
    [
        (("13.4", "13.1"), False, False),
        (("13.4", "13.4"), False, False),
        (("13.4", "12.5"), False, False),
        (("12.2", "13.6"), False, True),  # a supply was connected between the reading and the write
        (("10.9", ""), True, False),
        (("", ""), False, False),
    ],
)
def test_the_page_of_a_write_judges_its_voltages(
    tuner: Browser, unit: int, volts: tuple[str, str], low: bool, rose: bool
) -> None:
    typed = WRITE | {"supply_before_v": volts[0], "supply_lowest_v": volts[1]}
    text = content(tuner.get(tuner.submit(f"/control-units/{unit}/flashes", typed).headers["location"]))
    assert ("below the shop's 12.5 V" in text) == low
    assert ("The lowest voltage lies above the one before" in text) == rose


def test_a_broken_checksum_keeps_the_image_from_the_car(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    with_mistake = changed(TUNED, 0x110)
    form = {"title": "Unfinished", "purpose": "Half done."}
    made = tuner.submit(f"/control-units/{unit}/revisions", form, files={"file": ("new.bin", with_mistake)})
    assert made.status_code == 303
    answer = tuner.submit(f"/control-units/{unit}/flashes", WRITE | {"what": "2"})
    assert answer.status_code == 409
    assert "Block checksum “block” of this image does not hold" in refusal(answer)
    assert "block: stored" in content(answer)
    assert "<details open><summary>It was written although it should not have been" in answer.text


def test_a_write_that_happened_with_a_broken_checksum_is_logged_and_marks_the_car(
    tuner: Browser, unit: int, sqlite_engine: Engine
) -> None:
    with_mistake = changed(TUNED, 0x110)
    form = {"title": "Unfinished", "purpose": "Half done."}
    tuner.submit(f"/control-units/{unit}/revisions", form, files={"file": ("new.bin", with_mistake)})
    told = WRITE | {"what": "2", "happened_anyway": "yes"}
    answer = tuner.submit(f"/control-units/{unit}/flashes", told)
    assert answer.status_code == 422
    assert "Write how it came that this was written." in refusal(answer)
    assert "checked" in answer.text.split('name="happened_anyway"')[1][:80]

    reason = "The customer's own tool wrote it at home."
    page = tuner.submit(f"/control-units/{unit}/flashes", told | {"happened_reason": reason}).headers["location"]
    text = content(tuner.get(page))
    assert "A block checksum of the image that was written does not hold (block)" in text
    assert reason in text
    tuner.submit(f"{page}/read-back", files={"file": ("back.bin", with_mistake)})
    car = tuner.get("/vehicles/1")
    assert "On the car: the engine control unit carries an image whose checksum does not hold (block)." in content(car)
    assert "verified by read-back. On the car: an image whose checksum does not hold." in content(car)
    assert "carries an image whose checksum does not hold" in content(tuner.get("/"))
    assert "Block checksum not holding: block." in content(tuner.get("/journal"))

    release = {"decision": "released", "legal_basis": "closed course", "confirmed": "yes"}
    refused = tuner.submit("/revisions/2/decision", release)
    assert refused.status_code == 409
    assert is_whole(sqlite_engine)


def test_a_withdrawn_revision_that_was_written_all_the_same_is_logged_and_told(tuner: Browser, unit: int) -> None:
    tuner.submit("/revisions/1/decision", {"decision": "withdrawn", "reason": "It knocks", "confirmed": "yes"})
    answer = tuner.submit(f"/control-units/{unit}/flashes", WRITE)
    assert answer.status_code == 409
    assert "Revision 1 was withdrawn: It knocks. Choose another one" in refusal(answer)
    told = WRITE | {"happened_anyway": "yes", "happened_reason": "Old file on the laptop."}
    page = tuner.submit(f"/control-units/{unit}/flashes", told).headers["location"]
    assert "Old file on the laptop." in content(tuner.get(page))
    assert "On the car: the engine control unit carries a withdrawn revision." in content(tuner.get("/vehicles/1"))


def test_an_aborted_write_leads_to_the_next_one_and_cannot_be_read_back(tuner: Browser, unit: int) -> None:
    page = tuner.submit(f"/control-units/{unit}/flashes", WRITE | {"outcome": "aborted"}).headers["location"]
    text = content(tuner.get(page))
    assert "What the unit carries now is not known." in text
    assert "2. Read-back" not in text
    answer = tuner.submit(f"{page}/read-back", files={"file": ("back.bin", TUNED)})
    assert answer.status_code == 409
    assert refusal(answer).startswith("This write did not complete")


def test_a_read_back_that_differs_is_named_and_the_car_is_unknown(tuner: Browser, flashed: str) -> None:
    tuner.submit(f"{flashed}/read-back", files={"file": ("back.bin", changed(TUNED, 0x300))})
    text = content(tuner.get(flashed))
    assert "differs 1 of 4,080 compared bytes differ from revision 1" in text
    assert "0x300" in text
    assert "the read-back after Revision 1 “Stage one” differs" in content(tuner.get("/vehicles/1"))


@pytest.mark.parametrize(
    ("file", "sentence"),
    [
        (None, "Choose a file."),
        (("empty.bin", b""), "empty"),
        (("broken.hex", b":10000000ZZ\n"), "line 1"),
    ],
)
def test_a_file_that_cannot_be_a_read_back_is_refused(
    tuner: Browser, flashed: str, sqlite_engine: Engine, file: tuple[str, bytes] | None, sentence: str
) -> None:
    before = entries(sqlite_engine)
    answer = tuner.submit(f"{flashed}/read-back", files=None if file is None else {"file": file})
    assert answer.status_code == 422
    assert sentence in refusal(answer)
    assert entries(sqlite_engine) == before


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [
        ({"wanted_snapshot_id": "1", "text": "Body;long coding"}, 422, ""),
        ({"wanted_snapshot_id": "99", "text": CODING}, 404, "There is no coding snapshot 99."),
        ({"wanted_snapshot_id": "1"}, 422, "Choose a file."),
    ],
)
def test_a_write_back_that_proves_nothing_leaves_no_snapshot_behind(
    tuner: Browser, flashed: str, sqlite_engine: Engine, typed: dict[str, str], status: int, sentence: str
) -> None:
    before = entries(sqlite_engine)
    answer = tuner.submit(f"{flashed}/coding-write-back", typed)
    assert answer.status_code == status
    assert sentence in refusal(answer)
    assert typed.get("text", "").strip() in answer.text
    assert entries(sqlite_engine) == before
    assert "2 snapshots" not in content(tuner.get("/vehicles/1/intake"))


def test_a_waiver_needs_its_sentence_and_lifts_the_warning(tuner: Browser, flashed: str) -> None:
    short = tuner.submit(f"{flashed}/waive-coding", {"reason": "no need", "confirmed": "yes"})
    assert short.status_code == 422
    assert refusal(short).startswith("Write the reason in a sentence")
    assert 'value="no need"' in short.text
    taken = tuner.submit(f"{flashed}/waive-coding", {"reason": "Written on the bench, car off.", "confirmed": "yes"})
    assert taken.status_code == 303
    text = content(tuner.get(flashed))
    assert "waived Written on the bench, car off." in text
    assert "Do not start the engine" not in tuner.get("/").text


def test_a_start_that_happened_anyway_is_kept_as_such(tuner: Browser, flashed: str) -> None:
    answer = tuner.submit(f"{flashed}/first-start", {"happened_anyway": "yes", "note": ""})
    assert answer.status_code == 303
    assert "while coding was still pending" in content(tuner.get(flashed))


def test_the_front_desk_reads_a_flash_and_changes_nothing(front_desk: Browser, flashed: str) -> None:
    assert "Coding is pending" in content(front_desk.get(flashed))
    for act in ("read-back", "coding-write-back", "waive-coding", "first-start"):
        assert front_desk.submit(f"{flashed}/{act}").status_code == 403, act


@dataclass(frozen=True)
class Missing:
    address: str
    form: dict[str, str]


@pytest.mark.parametrize(
    "missing",
    [
        Missing("/control-units/99/flashes", WRITE),
        Missing("/flashes/99/waive-coding", {"reason": "Written on the bench."}),
        Missing("/flashes/99/first-start", {}),
        Missing("/flashes/99/coding-write-back", {"text": CODING, "wanted_snapshot_id": "1"}),
    ],
    ids=lambda missing: missing.address,
)
def test_acts_on_what_is_not_there_are_not_found(tuner: Browser, unit: int, missing: Missing) -> None:
    assert tuner.submit(missing.address, missing.form).status_code == 404
