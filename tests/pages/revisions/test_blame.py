"""The shop can rely on it that each cell of a map names the revision that last changed it."""

import re

import pytest
from sqlalchemy import Engine

from tests.browser import Browser
from tests.calibration_car import RAISED, CalibrationCar, calibration_car, image_of
from tests.pages.diff.test_compare import text_of


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def cells(html: str) -> list[list[str]]:
    """What stands in the cells of the table, row by row."""
    body = html.split('id="blame-cells"')[1].split("<tbody>")[1].split("</tbody>")[0]
    return [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in body.split("</tr>")[:-1]]


def test_cells_name_the_revision_and_the_others_stand_as_in_stock(tuner: Browser, car: CalibrationCar) -> None:
    tuner.submit(
        f"/control-units/{car.unit_id}/revisions",
        {"title": "t", "purpose": "p", "parent_id": str(car.second)},
        files={"file": ("r.bin", image_of((*RAISED[:7], 2000)))},
    )
    page = tuner.get("/revisions/4/maps/boost%20target")
    # Revision 1 raised the last two columns; revision 4, made from 2, the last cell once more.
    assert cells(page.text) == [["·", "·", "1", "1"], ["·", "·", "1", "4"]]
    words = text_of(page.text)
    assert "as in Stock · 4" in words and "Revision 1 “More boost” 1 3" in words
    values = tuner.get("/revisions/4/maps/boost%20target?show=values")
    assert cells(values.text) == [["1.000", "1.200", "1.500", "1.650"], ["1.100", "1.400", "1.870", "2.000"]]


def test_one_cell_is_followed_through_every_branch(tuner: Browser, car: CalibrationCar) -> None:
    address = f"/revisions/{car.first}/maps/boost%20target"
    words = text_of(tuner.get(address, params={"row": 2, "column": 4}).text)
    history = words.split("History of row 2, column 4")[1]
    assert "Stock 1.8 bar 1800 the start" in history
    assert "Revision 1 “More boost” 1.98 bar 1980 changed from Stock" in history
    assert "Revision 2 “And further” 1.98 bar 1980 not changed" in history
    assert "Revision 3 “Broken block” 1.98 bar 1980 changed from Stock" in history
    fragment = tuner.get(
        address, params={"row": 1, "column": 1}, headers={"hx-request": "true", "hx-target": "cell-history"}
    )
    assert "<html" not in fragment.text and "History of row 1, column 1" in fragment.text


@pytest.mark.parametrize("name", ["idle", "a/b", "%2F"])
def test_a_map_that_the_layout_lacks_is_not_found(tuner: Browser, car: CalibrationCar, name: str) -> None:
    assert tuner.get(f"/revisions/{car.first}/maps/{name}").status_code == 404


def test_a_cell_outside_the_map_is_taken_to_its_edge(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(f"/revisions/{car.first}/maps/boost%20target?row=99&column=99")
    assert "History of row 2, column 4" in text_of(page.text)
