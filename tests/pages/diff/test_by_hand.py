"""The shop can rely on it that a revision without image has a diff view of what was noted, and of what nobody knows.

Figures by hand from tests/calibration_car.py: boost in stock 1.000 1.200 1.400 1.500 over 1.100 1.400 1.700 1.800 bar,
in revision 1 1.000 1.200 1.500 1.650 over 1.100 1.400 1.870 1.980 bar.
"""

import csv
import io
import json

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.browser import Browser
from tests.calibration_car import CalibrationCar, calibration_car
from tests.pages.diff.test_compare import text_of

NOTES = b"""map,x,y,before,after,unit,category
boost target,4000,80,1.98,2.05,bar,boost
speed limit,,,250,280,km/h,limiter
"""


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def by_hand(tuner: Browser, car: CalibrationCar, parent: str, notes: bytes = NOTES) -> int:
    """Id of a revision entered by hand."""
    told = {"title": "From the road", "purpose": "As told by phone.", "parent_id": parent, "no_image": "yes"}
    answer = tuner.submit(f"/control-units/{car.unit_id}/revisions", told, files={"file": ("", b"")})
    assert answer.status_code == 303
    where = answer.headers["location"].removesuffix("/new")
    if notes:
        entered = tuner.submit(f"{where}/table", {"csv": notes.decode()}, files={"file": ("", b"")})
        assert entered.status_code == 303, text_of(entered.text)
    return int(where.split("/")[2])


def test_the_notes_are_shown_as_maps_with_what_is_not_known(tuner: Browser, car: CalibrationCar) -> None:
    revision = by_hand(tuner, car, "stock", b"map,before,after,unit,category\nspeed limit,250,280,km/h,limiter\n")
    words = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{revision}").text)
    assert "1 map changed, 1 limiter." in words
    assert "250 became 280 km/h: +30 km/h (+12.0 %)." in words
    assert "What is not known" in words and "whether the block checksums hold" in words
    assert "Unexplained bytes" not in words and "Swap sides" not in words


def test_maps_are_offered_by_the_names_of_the_layout_and_others_are_told(tuner: Browser, car: CalibrationCar) -> None:
    revision = by_hand(tuner, car, "stock")
    form = tuner.get(f"/revisions/{revision}/deltas/new").text
    assert '<option value="boost target"></option>' in form
    words = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{revision}").text)
    assert "speed limit: Engine 1 v1 has no map of this name; it stands as noted." in words
    # The note starts from 1.98 bar, which revision 1 has; stock has 1.800.
    assert "boost target: the note starts from 1.98 bar, but 1.80 bar was known before." in words


def test_the_page_of_the_revision_leads_there_once_something_was_noted(tuner: Browser, car: CalibrationCar) -> None:
    bare = by_hand(tuner, car, "stock", b"")
    assert "Compare with" not in tuner.get(f"/revisions/{bare}").text
    noted = by_hand(tuner, car, str(car.first))
    page = tuner.get(f"/revisions/{noted}").text
    for href in (f"/compare?from=r{car.first}&amp;to=r{noted}", f"/compare?from=stock-{car.stock_id}&amp;to=r{noted}"):
        assert f'href="{href}"' in page
    empty = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{bare}").text)
    assert "No change is known" in empty


def test_the_way_in_finds_it_when_it_is_on_the_car(tuner: Browser, car: CalibrationCar) -> None:
    revision = by_hand(tuner, car, str(car.first))
    way_in = f"/control-units/{car.unit_id}/compare"
    assert tuner.get(way_in).headers["location"].endswith(f"&to=r{car.third}")  # an image comes before notes
    tuner.submit(f"/control-units/{car.unit_id}/flashes", {"what": str(revision), "outcome": "completed"})
    assert tuner.get(way_in).headers["location"] == f"/compare?from=stock-{car.stock_id}&to=r{revision}"


def test_against_stock_notes_stand_on_top_of_the_image_of_their_parent(tuner: Browser, car: CalibrationCar) -> None:
    notes = b"map,change,unit\nboost target,+0.05,bar\n"
    revision = by_hand(tuner, car, str(car.first), notes)
    words = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{revision}").text)
    # The largest change is that of the image, 1.800 to 1.980 bar, and 0.05 bar.
    assert "8 of 8 cells changed; the largest change is +0.230 bar (+12.8 %)" in words
    assert "boost target: only the change was noted" in words
    since_parent = text_of(tuner.get(f"/compare?from=r{car.first}&to=r{revision}").text)
    assert "the largest change is +0.050 bar" in since_parent


def test_the_downloads_hold_the_noted_cells(tuner: Browser, car: CalibrationCar) -> None:
    revision = by_hand(tuner, car, str(car.first), b"map,before,after,unit\nspeed limit,250,280,km/h\n")
    query = f"from=r{car.first}&to=r{revision}"
    table = tuner.get(f"/compare/deltas.csv?{query}").content.decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(table))
    assert (row["name"], row["before"], row["after"], row["change"]) == ("speed limit", "250.0", "280.0", "30.0")
    whole = json.loads(tuner.get(f"/compare/deltas.json?{query}").content)
    assert (whole["deltas"][0]["by_hand"], whole["changed_bytes"]) == (True, 0)


def test_what_nobody_can_compare_is_refused_with_the_reason(tuner: Browser, car: CalibrationCar) -> None:
    revision = by_hand(tuner, car, str(car.first))
    for before, after in (
        (f"r{revision}", f"stock-{car.stock_id}"),
        (f"r{car.third}", f"r{revision}"),
        (f"stock-{car.other_stock_id}", f"r{revision}"),
        (f"r{revision}", f"r{car.second}"),
    ):
        page = tuner.get(f"/compare?from={before}&to={after}")
        assert page.status_code == 409
        assert "can be compared only with what it was made from" in text_of(page.text)


def test_notes_on_notes_are_compared_with_each_other_and_with_stock(tuner: Browser, car: CalibrationCar) -> None:
    first = by_hand(tuner, car, "stock", b"map,before,after,unit\nspeed limit,250,280,km/h\n")
    second = by_hand(tuner, car, str(first), b"map,before,after,unit\nspeed limit,280,300,km/h\n")
    assert "280 became 300 km/h" in text_of(tuner.get(f"/compare?from=r{first}&to=r{second}").text)
    assert "250 became 300 km/h" in text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{second}").text)


def test_notes_are_ported_to_an_image(tuner: Browser, car: CalibrationCar) -> None:
    """The other car's stock has 1.790 bar where this one has 1.800; the note adds 0.05 bar to every cell."""
    revision = by_hand(tuner, car, "stock", b"map,change,unit\nboost target,+0.05,bar\n")
    where = f"/revisions/{revision}/port"
    assert f'href="{where}"' in tuner.get(f"/revisions/{revision}").text
    report = text_of(tuner.get(f"{where}?target=stock-{car.other_stock_id}").text)
    assert "1 of 1 map ported" in report
    told = {"title": "t", "purpose": "p", "map": "boost target", "target": f"stock-{car.other_stock_id}"}
    answer = tuner.submit(where, told | {"mode": "relative", "since": "parent"})
    ported = int(answer.headers["location"].rsplit("/", 1)[1])
    words = text_of(tuner.get(f"/compare?from=stock-{car.other_stock_id}&to=r{ported}").text)
    assert "8 of 8 cells changed; the largest change is +0.050 bar" in words


def test_programs_are_told_what_is_not_known(
    tuner: Browser, app: FastAPI, sqlite_engine: Engine, car: CalibrationCar
) -> None:
    revision = by_hand(tuner, car, str(car.first))
    caller = Caller(app, sqlite_engine, "tuner")
    for base in ("parent", "stock"):
        found = caller.get(f"/revisions/{revision}/deltas", **{"from": base}).json()
        assert "block checksums" in found["not_known"][0]
        assert {delta["name"] for delta in found["deltas"]} == {"boost target", "speed limit"}
    assert caller.get(f"/revisions/{car.first}/deltas").json()["not_known"] == []
