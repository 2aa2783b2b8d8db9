"""The shop can rely on it that a revision is logged from its image or by hand, and that a refusal says why."""

import hashlib
import re

import pytest
from sqlalchemy import Engine

from app.calc.calibration.image import Image
from app.readers.image_writer import WriteFormat, write_image
from app.record import journal, revisions
from app.record.engine import reading
from tests.browser import Browser
from tests.calibration_car import BOOST, RAISED, CalibrationCar, calibration_car, image_of
from tests.pages.diff.test_compare import text_of

TOLD = {"title": "Another", "purpose": "To see what happens."}


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def log(tuner: Browser, car: CalibrationCar, data: bytes | None, **fields: str) -> tuple[int, str, str]:
    """Status, where it leads, and the page's words."""
    files = None if data is None else {"file": ("r.bin", data)}
    answer = tuner.submit(f"/control-units/{car.unit_id}/revisions", TOLD | fields, files=files or {"file": ("", b"")})
    return answer.status_code, answer.headers.get("location", ""), text_of(answer.text)


def test_what_is_on_the_car_is_proposed_as_parent(tuner: Browser, car: CalibrationCar) -> None:
    form = f"/control-units/{car.unit_id}/revisions/new"
    assert '<option value="stock" selected>' in tuner.get(form).text  # confirmed, and nothing was flashed yet
    tuner.submit(f"/control-units/{car.unit_id}/flashes", {"what": str(car.first), "outcome": "completed"})
    assert f'<option value="{car.first}" selected>' in tuner.get(form).text
    assert f'<option value="{car.second}" selected>' in tuner.get(f"{form}?parent={car.second}").text
    assert "As suggested: Engine 1 v1" in tuner.get(form).text


def test_the_new_revision_says_what_changed_against_its_parent(tuner: Browser, car: CalibrationCar) -> None:
    status, where, _ = log(tuner, car, image_of((*RAISED[:7], 2000)), parent_id=str(car.first))
    assert status == 303
    words = text_of(tuner.get(where).text)
    # 1980 became 2000.
    assert "1 map changed." in words and "+0.020 bar" in words and "+1.0" in words and "1 of 8" in words
    assert "To see what happens." in words
    assert "Compare with its parent" in words and "Compare with stock" in words


@pytest.mark.parametrize(("format", "name"), [("srec", "stage.zip"), ("hex", "stage.bin"), ("bin", "stage.s19")])
def test_a_file_is_told_by_its_content_whatever_its_name(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine, format: WriteFormat, name: str
) -> None:
    data = image_of((*RAISED[:7], 2000))
    files = {"file": (name, write_image(Image.of([(0, data)]), format))}
    answer = tuner.submit(f"/control-units/{car.unit_id}/revisions", TOLD, files=files)
    assert answer.status_code == 303
    with reading(sqlite_engine) as session:
        row = revisions.revision(session, int(answer.headers["location"].rsplit("/", 1)[1]))
        assert row.file_format == {"srec": "S-record", "hex": "Intel HEX", "bin": "binary"}[format]
        assert row.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("data", "fields", "status", "sentence"),
    [
        (None, {}, 422, "Choose the image file, or tick that there is none."),
        (image_of(), {"title": ""}, 422, "Write the title"),
        (image_of(RAISED), {"title": "x" * 121}, 422, "at most 120 characters"),
        (image_of(BOOST), {"parent_id": "stock"}, 409, "byte for byte that of its parent"),
        (b"\x00" * 10, {}, 422, "covers other addresses"),
        (image_of(RAISED), {"parent_id": "x"}, 422, "Choose one from the list."),
        (b":10000000", {}, 422, "line 1"),
    ],
)
def test_a_refusal_keeps_what_was_typed(
    tuner: Browser, car: CalibrationCar, data: bytes | None, fields: dict[str, str], status: int, sentence: str
) -> None:
    found, _, words = log(tuner, car, data, **fields)
    assert found == status
    assert sentence in words
    assert "To see what happens." in words


def test_an_image_the_unit_had_before_is_kept_and_told(tuner: Browser, car: CalibrationCar) -> None:
    status, where, _ = log(tuner, car, image_of(RAISED), parent_id=str(car.second))
    assert status == 303
    told = "This image is byte for byte that of revision 1 “More boost”: check that it is the file you meant."
    assert told in text_of(tuner.get(where).text)
    assert "byte for byte that of" not in text_of(tuner.get(f"/revisions/{car.first}").text)


def test_the_same_form_sent_twice_is_recorded_once(tuner: Browser, car: CalibrationCar, sqlite_engine: Engine) -> None:
    path, files = f"/control-units/{car.unit_id}/revisions", {"file": ("r.bin", image_of((*RAISED[:7], 2000)))}
    answers = [tuner.submit(path, TOLD, files=files, key="k" * 20) for _ in range(2)]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    with reading(sqlite_engine) as session:
        assert len(revisions.of_unit(session, car.unit_id)) == 4


def by_hand(tuner: Browser, car: CalibrationCar) -> str:
    _, where, _ = log(tuner, car, None, no_image="yes", parent_id="stock")
    assert re.fullmatch(r"/revisions/\d+/deltas/new", where)
    return where.removesuffix("/deltas/new")


def test_a_map_entered_by_hand_is_kept_with_its_numbers(tuner: Browser, car: CalibrationCar) -> None:
    page = by_hand(tuner, car)
    assert "What it changes was not entered yet." in text_of(tuner.get(page).text)
    answer = tuner.submit(
        f"{page}/deltas",
        {
            "name": "spark",
            "category": "ignition",
            "unit": "°CA",
            "x": "1000 2000",
            "x_name": "engine speed",
            "before": "10,5\t12",
            "after": "11,5\t12",
        },
    )
    assert answer.headers["location"] == f"{page}#maps"
    words = text_of(tuner.get(page).text)
    assert "1 of 2 cells changed; the largest change is +1.0 °CA (+9.5 %) at engine speed 1,000." in words
    assert "entered by hand, no image" in words


def test_a_table_adds_maps_and_a_map_entered_again_takes_the_earlier_ones_place(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    page = by_hand(tuner, car)
    tuner.submit(f"{page}/deltas", {"name": "limit", "unit": "km/h", "before": "250", "after": "280"})
    table = "map;x;before;after;unit;category\nboost;3000;1,2;1,4;bar;boost\nlimit;;250;300;km/h;limiter"
    answer = tuner.submit(f"{page}/deltas/table", {"csv": table})
    assert answer.status_code == 303
    words = text_of(tuner.get(page).text)
    assert "2 maps changed, 1 limiter." in words
    assert "250 became 300 km/h: +50 km/h (+20.0 %)." in words
    with reading(sqlite_engine) as session:
        revision_id = int(page.rsplit("/", 1)[1])
        assert len(revisions.analyses(session, revision_id)) == 2
        told = journal.page(session, limit=1)[0]
        assert (told.action, told.facts["maps"]) == ("enter deltas", ["boost", "limit"])


@pytest.mark.parametrize(
    ("path", "fields", "sentence"),
    [
        ("deltas", {"name": "", "before": "1", "after": "2"}, "Write the map's name."),
        ("deltas", {"name": "m", "before": "1", "after": "1"}, "nothing changed"),
        ("deltas", {"name": "m", "before": "1 2\n3", "after": "1"}, "different numbers of cells"),
        ("deltas/table", {"csv": "map,before\nx,1"}, "after"),
    ],
)
def test_what_cannot_be_read_is_refused_and_shown_again(
    tuner: Browser, car: CalibrationCar, path: str, fields: dict[str, str], sentence: str
) -> None:
    page = by_hand(tuner, car)
    answer = tuner.submit(f"{page}/{path}", fields)
    assert answer.status_code == 422
    assert sentence in text_of(answer.text)


def test_nothing_is_entered_by_hand_for_a_revision_with_an_image(tuner: Browser, car: CalibrationCar) -> None:
    assert tuner.get(f"/revisions/{car.first}/deltas/new").status_code == 409
    answer = tuner.submit(f"/revisions/{car.first}/deltas", {"name": "m", "before": "1", "after": "2"})
    assert answer.status_code == 409


def test_an_image_made_from_notes_is_compared_with_stock_and_says_so(tuner: Browser, car: CalibrationCar) -> None:
    page = by_hand(tuner, car)
    _, where, _ = log(tuner, car, image_of(RAISED), parent_id=page.rsplit("/", 1)[1])
    words = text_of(tuner.get(where).text)
    assert "Compared with Stock: the parent was entered by hand and has no image." in words
    assert "4 of 8" in words


def test_stock_itself_after_notes_is_kept_and_told(tuner: Browser, car: CalibrationCar) -> None:
    page = by_hand(tuner, car)
    _, where, _ = log(tuner, car, image_of(), parent_id=page.rsplit("/", 1)[1])
    words = text_of(tuner.get(where).text)
    assert "byte for byte that of stock: check" in words
    assert "Bytes changed: 0" in words
