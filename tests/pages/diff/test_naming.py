"""The shop can rely on it that a range named in the diff view becomes a map of the layout's next version."""

import re

import pytest
from sqlalchemy import Engine

from app.record import journal, layouts
from app.record.engine import reading
from tests.browser import Browser
from tests.calibration_car import HIDDEN_AT, CalibrationCar, calibration_car
from tests.pages.diff.test_compare import text_of

NAMED = {
    "name": "torque limit",
    "category": "limiter",
    "kind": "block",
    "address": f"{HIDDEN_AT:#x}",
    "data_type": "uint16",
    "byte_order": "big",
    "columns": "6",
    "rows": "1",
    "factor": "0.1",
    "offset": "0",
    "unit": "N·m",
}


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def subject(car: CalibrationCar) -> dict[str, str]:
    return {
        "from": f"r{car.first}",
        "to": f"r{car.second}",
        "layout": str(car.layout_id),
        "start": f"{HIDDEN_AT:#x}",
        "end": f"{HIDDEN_AT + 12:#x}",
    }


def test_the_form_opens_with_the_table_that_really_lies_there(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get("/compare/name", params=subject(car))
    assert page.status_code == 200
    assert "1 × 6 cells of uint16, big byte order from 0x400." in text_of(page.text)


def test_the_numbers_follow_what_is_typed(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get("/compare/name/preview", params=subject(car) | NAMED)
    assert "<html" not in page.text
    words = text_of(page.text)
    # Stored 6000 and 9000, times 0.1 N·m.
    assert "600.0" in words and "900.0" in words and "770.0" in words
    broken = tuner.get("/compare/name/preview", params=subject(car) | NAMED | {"factor": "x"})
    assert broken.status_code == 200
    assert "“x” is no number" in text_of(broken.text)


def test_saving_makes_a_new_version_and_the_old_comparison_stays(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    answer = tuner.submit("/compare/name", subject(car) | NAMED)
    assert answer.status_code == 303
    page = text_of(tuner.get(answer.headers["location"]).text)
    assert "1 map changed, 1 limiter." in page
    assert "6 of 6 cells changed; the largest change is +300.0 N·m (+50.0 %)" in page
    assert "One revision was" in page or "revisions were" in page
    with reading(sqlite_engine) as session:
        newest = layouts.versions(session, "Engine 1")[0]
        assert (newest.version, newest.map_count, newest.source) == (2, 2, "changed here")
        told = journal.page(session, limit=1)[0]
        assert (told.action, told.subject) == ("name range", ("layout", newest.id))
        assert [row.id for row in layouts.outdated(session, newest)] == [car.first, car.second, car.third]
    assert "12 bytes unexplained" in text_of(tuner.get(f"/revisions/{car.second}").text)


def test_all_revisions_can_then_be_compared_again(tuner: Browser, car: CalibrationCar, sqlite_engine: Engine) -> None:
    tuner.submit("/compare/name", subject(car) | NAMED)
    with reading(sqlite_engine) as session:
        newest = layouts.versions(session, "Engine 1")[0].id
    offered = tuner.get(f"/layouts/{newest}/recompute").text
    ids = re.findall(r'name="revision" value="(\d+)" checked', offered)
    assert ids == [str(car.first), str(car.second), str(car.third)]
    answer = tuner.submit(f"/layouts/{newest}/recompute", {"revision": ids})
    assert answer.headers["location"] == f"/layouts/{newest}"
    words = text_of(tuner.get(f"/revisions/{car.second}").text)
    assert "1 map changed, 1 limiter." in words
    assert "Earlier comparisons" in words and "No map changed, 12 bytes unexplained." in words
    assert "Nothing to compare again" in text_of(tuner.get(f"/layouts/{newest}/recompute").text)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"name": ""}, "Write the map's name."),
        ({"name": "boost target"}, "defined twice"),
        ({"address": "0x104"}, "overlaps 'boost target'"),
        ({"address": "0x17e"}, "inside the map"),
        ({"columns": "4000"}, "This cannot be read"),
        ({"kind": "map"}, "Give the address of the breakpoints"),
    ],
)
def test_a_refused_name_keeps_what_was_typed(
    tuner: Browser, car: CalibrationCar, change: dict[str, str], sentence: str
) -> None:
    page = tuner.submit("/compare/name", subject(car) | NAMED | change)
    assert page.status_code == 422
    assert sentence in text_of(page.text)
    assert 'value="N·m"' in page.text


def test_an_older_version_is_not_changed_behind_a_newer_one(tuner: Browser, car: CalibrationCar) -> None:
    tuner.submit("/compare/name", subject(car) | NAMED)
    page = tuner.submit("/compare/name", subject(car) | NAMED | {"name": "other", "address": "0x500"})
    assert page.status_code == 409
    assert "has a newer version, v2" in text_of(page.text)
