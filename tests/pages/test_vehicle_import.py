"""A list of cars is looked at, confirmed and taken over once, through the pages."""

import base64
import re
import zlib

import pytest
from sqlalchemy import Engine, func, select

from app.record.engine import reading
from app.record.tables import Content, JournalEntry, Vehicle
from app.record.verify import verify
from tests.browser import Browser

FIRST, SECOND, THIRD = "UU9KLN3C60NB00451", "1M8GDM9AXKP042788", "UU9KLN3C60NB00452"
LIST = f"""vin;plate;make;model;rated power hp;fuel;customer name;colour
{FIRST};EB 18 LNR;Tarkess;Lanner;300;petrol;Ottoline Vessmer;red
{SECOND};;Corvane;Astrel;;diesel;;
{SECOND};;Corvane;Astrel twice;;diesel;;
1M8GDM9A0KP042788;;Corvane;Wrong check digit;;diesel;;
{THIRD};;Corvane;;;diesel;;
"""


def look(browser: Browser, text: str = LIST) -> str:
    answer = browser.submit("/vehicles/import/preview", files={"file": ("old program.csv", text.encode(), "text/csv")})
    assert answer.status_code == 200
    return answer.text


def packed(page: str) -> dict[str, str]:
    found = re.search(r'name="packed" value="([^"]+)"', page)
    assert found is not None
    return {"packed": found[1], "file_name": "old program.csv"}


def counted(engine: Engine) -> tuple[int, int]:
    with reading(engine) as session:
        cars = session.scalar(select(func.count(Vehicle.id))) or 0
        entries = session.scalar(select(func.count(JournalEntry.seq)).where(JournalEntry.action == "import vehicles"))
        return cars, entries or 0


def test_every_line_is_shown_with_what_would_be_done_and_nothing_is_stored_yet(
    tuner: Browser, sqlite_engine: Engine
) -> None:
    page = look(tuner)
    assert "2 new cars, 0 on record already, 3 lines refused." in page
    assert "This VIN stands in line 3 already." in page
    assert "check digit (position 9) is 0 and should be X" in page
    assert "The model is missing" in page
    assert "left out: colour" in page
    assert counted(sqlite_engine) == (0, 0)


def test_a_confirmed_list_is_taken_over_in_one_entry_and_the_second_time_changes_nothing(
    tuner: Browser, sqlite_engine: Engine
) -> None:
    form = packed(look(tuner))
    assert tuner.submit("/vehicles/import", form).headers["location"] == "/vehicles"
    assert counted(sqlite_engine) == (2, 1)
    assert tuner.submit("/vehicles/import", form).status_code == 409
    assert counted(sqlite_engine) == (2, 1)
    again = look(tuner)
    assert "0 new cars, 3 on record already" in again
    assert "nothing to confirm" in again
    car = tuner.get("/api/v1/vehicles?q=EB18").json()["items"][0]
    assert car["customer_name"] == "Ottoline Vessmer"
    assert car["rated_power_kw"] == pytest.approx(223.71, abs=0.005)  # NIST SP 811: 1 hp = 745.6999 W
    with reading(sqlite_engine) as session:
        assert verify(session).clean
        assert session.scalar(select(func.count(Content.sha256))) == 0, "the list holds names and is not kept"
        assert "Vessmer" not in "".join(session.scalars(select(JournalEntry.body)))


def test_a_car_on_record_keeps_what_the_record_says(tuner: Browser) -> None:
    tuner.submit("/vehicles/import", packed(look(tuner)))
    page = look(tuner, LIST.replace("EB 18 LNR", "KQ 7 RST"))
    assert "kept as it is there; the list differs in: plate." in page


def test_what_leaves_as_csv_is_known_again_to_the_last_field(tuner: Browser) -> None:
    tuner.submit("/vehicles/import", packed(look(tuner)))
    page = look(tuner, tuner.get("/vehicles.csv").content.decode("utf-8-sig"))
    assert "0 new cars, 2 on record already, 0 lines refused." in page
    assert "differs in" not in page


def test_a_list_that_is_none_is_refused_with_its_sentence(tuner: Browser) -> None:
    answer = tuner.submit("/vehicles/import/preview", files={"file": ("x.csv", b"make,model\nA,B\n", "text/csv")})
    assert answer.status_code == 422
    assert "needs a column headed “vin”" in answer.text
    assert tuner.submit("/vehicles/import/preview", files={"file": ("", b"", "text/csv")}).status_code == 422


@pytest.mark.parametrize(
    "value",
    [
        "",
        "no base64!",
        base64.b64encode(b"no stream").decode(),
        base64.b64encode(zlib.compress(b"cut")[:-3]).decode(),
        base64.b64encode(zlib.compress(bytes(64 << 20), 9)).decode(),
    ],
    ids=["empty", "no base64", "no stream", "cut", "64 MiB of zeros"],
)
def test_a_confirmation_that_was_tampered_with_is_refused(tuner: Browser, value: str) -> None:
    answer = tuner.submit("/vehicles/import", {"packed": value})
    assert answer.status_code == 422
    assert "got lost on its way" in answer.text


def test_the_template_is_offered(tuner: Browser) -> None:
    answer = tuner.get("/vehicles/import/template.csv")
    assert answer.content.startswith(b"\xef\xbb\xbfvin,plate,make")
