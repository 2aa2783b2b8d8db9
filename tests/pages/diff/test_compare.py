"""The shop can rely on it that the diff view shows every change between two images, and keeps its state in the address.

Expected figures are worked out by hand from the bytes of tests/calibration_car.py: raw numbers times 0.001 bar.
"""

import csv
import io
import json
import re
from collections.abc import Callable
from html import unescape

import pytest
from sqlalchemy import Engine

from tests.browser import Browser
from tests.calibration_car import HIDDEN_RAISED, RAISED, CalibrationCar, calibration_car, image_of


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def text_of(html: str) -> str:
    """The page's words, without markup."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def address(car: CalibrationCar, **further: str) -> str:
    query = "".join(f"&{name}={value}" for name, value in further.items())
    return f"/compare?from=stock-{car.stock_id}&to=r{car.second}{query}"


def test_the_sentence_the_figures_and_the_accounts_are_those_of_the_bytes(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(address(car))
    assert page.status_code == 200
    words = text_of(page.text)
    assert "1 map changed, 12 bytes unexplained." in words
    # 1700 → 1870 and 1800 → 1980: the largest change is +180 of 0.001 bar at 4000 1/min and 80.
    assert "4 of 8 cells changed; the largest change is +0.180 bar (+10.0 %) at x axis 4,000 and y axis 80" in words
    # 4 cells of two bytes, of which one byte each or two change; 2 checksum bytes; 12 hidden ones.
    found = re.search(
        r"Changed bytes (\d+) In named maps and axes (\d+) In block checksums (\d+) Unexplained (\d+)", words
    )
    assert found is not None
    total, explained, checksum, unexplained = map(int, found.groups())
    before, after = image_of(), image_of(RAISED, HIDDEN_RAISED)
    assert total == sum(a != b for a, b in zip(before, after, strict=True)) == explained + checksum + unexplained
    assert unexplained == 12
    assert "holds" in words


@pytest.mark.parametrize(
    ("show", "cell"), [("change", "+0.180"), ("percent", "+10.0"), ("before", "1.800"), ("after", "1.980")]
)
def test_the_switch_shows_the_same_cells_in_four_ways(
    tuner: Browser, car: CalibrationCar, show: str, cell: str
) -> None:
    page = tuner.get(address(car, show=show)).text
    assert f'<td tabindex="0" data-step="4">{cell}</td>' in page


@pytest.mark.parametrize(
    ("cell", "text"),
    [("1-3", "+0.100"), ("", "+0.180"), ("9-9", "+0.180"), ("0-1", "+0.180"), ("x", "+0.180"), ("1-99999", "+0.180")],
)
def test_the_address_says_which_cell_is_pointed_at(tuner: Browser, car: CalibrationCar, cell: str, text: str) -> None:
    """Row 1, column 3: 1400 became 1500 of 0.001 bar. What is no cell of the map gives the largest change."""
    page = tuner.get(address(car, map="boost target", cell=cell)).text
    (pointed,) = re.findall(r'<td tabindex="0"[^>]*>([^<]*)</td>', page)
    assert pointed == text


def test_htmx_gets_the_panel_alone_and_a_restored_history_the_whole_page(tuner: Browser, car: CalibrationCar) -> None:
    headers = {"hx-request": "true", "hx-target": "map-panel"}
    panel = tuner.get(address(car, map="boost target"), headers=headers)
    assert panel.text.lstrip().startswith("<title>boost target")
    assert "<html" not in panel.text
    whole = tuner.get(address(car, map="boost target"), headers=headers | {"hx-history-restore-request": "true"})
    assert "<html" in whole.text


def test_every_link_of_the_page_keeps_what_is_compared(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(address(car, show="percent", sort="size")).text
    links = [unescape(one) for one in re.findall(r'href="(/compare\?[^"#]*)', page)]
    assert len(links) > 8
    for link in links:
        assert "from=" in link and "to=" in link
        assert tuner.get(link).status_code == 200


def test_a_map_that_did_not_change_is_said_not_to_have(tuner: Browser, car: CalibrationCar) -> None:
    assert "The map “idle” did not change" in text_of(tuner.get(address(car, map="idle")).text)


def test_the_list_is_filtered_by_name_and_category(tuner: Browser, car: CalibrationCar) -> None:
    assert "1 of 1 listed" in text_of(tuner.get(address(car, q="BOOST")).text)
    assert "No changed map found" in text_of(tuner.get(address(car, q="ignition")).text)
    assert "No changed map found" in text_of(tuner.get(address(car, category="fuel")).text)


def test_changed_bytes_stand_in_brackets_on_both_sides(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(address(car)).text
    # 6000 is 0x1770, 9000 is 0x2328; 7700 is 0x1E14, 10700 is 0x29CC.
    assert "[17][70]" in page and "[23][28]" in page
    assert "[1E][14]" in page and "[29][CC]" in page


def test_a_block_checksum_that_does_not_hold_is_told_first(tuner: Browser, car: CalibrationCar) -> None:
    words = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=r{car.third}").text)
    assert "1 block checksum does not hold." in words
    assert "The block checksum block does not hold." in words  # a warning of the structural rules


def test_what_is_compared_backwards_has_the_other_sign(tuner: Browser, car: CalibrationCar) -> None:
    words = text_of(tuner.get(f"/compare?from=r{car.second}&to=stock-{car.stock_id}").text)
    assert "the largest change is −0.180 bar (−9.1 %)" in words


def test_a_node_with_itself_has_no_changes(tuner: Browser, car: CalibrationCar) -> None:
    assert "Nothing changed." in text_of(tuner.get(f"/compare?from=r{car.first}&to=r{car.first}").text)


def test_another_car_with_the_same_layout_can_be_compared(tuner: Browser, car: CalibrationCar) -> None:
    words = text_of(tuner.get(f"/compare?from=stock-{car.stock_id}&to=stock-{car.other_stock_id}").text)
    assert "Two cars are compared" in words
    # 1.800 became 1.790 bar.
    assert "1 of 8 cells changed; the largest change is −0.010 bar (−0.6 %) at x axis 4,000 and y axis 80" in words


@pytest.mark.parametrize("key", ["", "stock", "r", "rx", "x1", "stock-", "r1x"])
def test_a_name_that_is_none_is_refused_with_a_sentence(tuner: Browser, car: CalibrationCar, key: str) -> None:
    page = tuner.get(f"/compare?from={key}&to=r{car.first}")
    assert page.status_code == 422
    assert "names neither stock nor a revision" in text_of(page.text)


def test_a_node_that_is_not_on_record_is_not_found(tuner: Browser, car: CalibrationCar) -> None:
    assert tuner.get("/compare?from=stock-99&to=r99").status_code == 404


def test_the_way_in_compares_stock_with_what_is_on_the_car(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    way_in = f"/control-units/{car.unit_id}/compare"
    assert tuner.get(way_in).headers["location"] == f"/compare?from=stock-{car.stock_id}&to=r{car.third}"
    tuner.submit(f"/control-units/{car.unit_id}/flashes", {"what": str(car.first), "outcome": "completed"})
    assert tuner.get(way_in).headers["location"] == f"/compare?from=stock-{car.stock_id}&to=r{car.first}"


def test_the_way_in_says_what_is_missing(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(f"/control-units/{car.other_unit_id}/compare")
    assert page.status_code == 409
    assert "confirm stock with two equal reads and log a revision." in text_of(page.text)


def test_the_downloads_hold_every_changed_cell_and_byte(tuner: Browser, car: CalibrationCar) -> None:
    query = f"from=stock-{car.stock_id}&to=r{car.second}"
    table = tuner.get(f"/compare/deltas.csv?{query}")
    assert table.headers["content-disposition"].startswith("attachment")
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    cells = {(row["x"], row["y"]): (row["before"], row["after"]) for row in rows if row["what"] == "cell"}
    assert set(cells) == {("3000.0", "20.0"), ("4000.0", "20.0"), ("3000.0", "80.0"), ("4000.0", "80.0")}
    assert [float(v) for v in cells["4000.0", "80.0"]] == pytest.approx([1.8, 1.98])
    whole = json.loads(tuner.get(f"/compare/deltas.json?{query}").content)
    assert sum(len(one["before"]) // 2 for one in whole["changes"]) == whole["changed_bytes"]
    assert tuner.get(f"/compare/deltas.xml?{query}").status_code == 404


def test_the_front_desk_may_look_but_is_offered_no_naming(
    browser: Callable[[str | None], Browser], car: CalibrationCar
) -> None:
    assert "Name this range" in browser("tuner").get(address(car)).text
    assert "Name this range" not in browser("front_desk").get(address(car)).text
