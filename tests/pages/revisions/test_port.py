"""The shop can rely on it that a ported revision is computed openly: report first, and marked wherever it shows."""

import struct

import pytest
from sqlalchemy import Engine

from app.record import journal, nodes, revisions
from app.record.engine import reading
from tests.browser import Browser
from tests.calibration_car import BOOST, OTHER, RAISED, CalibrationCar, calibration_car
from tests.pages.diff.test_compare import text_of

MARK = "omputed, not validated on a vehicle"
TOLD = {"title": "As on the first car", "purpose": "Same car, same wish.", "map": "boost target"}


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def ported(tuner: Browser, car: CalibrationCar, mode: str = "relative", **fields: str) -> tuple[int, str, str]:
    form = TOLD | {"target": f"stock-{car.other_stock_id}", "mode": mode, "since": "parent"} | fields
    answer = tuner.submit(f"/revisions/{car.first}/port", form)
    return answer.status_code, answer.headers.get("location", ""), text_of(answer.text)


def boost_of(engine: Engine, revision_id: int) -> tuple[int, ...]:
    with reading(engine) as session:
        data = nodes.image(session, nodes.node(session, f"r{revision_id}")).payload
    assert int.from_bytes(data[0x180:0x182], "big") == sum(data[0x100:0x180]) & 0xFFFF  # the block checksum holds
    return struct.unpack_from(">8H", data, 0x100)


def test_the_report_comes_before_anything_is_recorded(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    page = tuner.get(f"/revisions/{car.first}/port?target=stock-{car.other_stock_id}")
    words = text_of(page.text)
    assert "1 of 1 map ported, 1 block checksum recomputed; c" + MARK in words
    assert "1 cell does not hold what the change started from in the target, by up to 0.010 bar." in words
    with reading(sqlite_engine) as session:
        assert revisions.of_unit(session, car.other_unit_id) == []


@pytest.mark.parametrize(
    ("mode", "last"),
    [
        # The first car went from 1800 to 1980; the other one starts from 1790.
        ("relative", 1790 + 180),
        ("percent", 1969),
        ("absolute", 1980),
    ],
)
def test_the_three_ways_give_the_numbers_they_promise(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine, mode: str, last: int
) -> None:
    status, where, _ = ported(tuner, car, mode)
    assert status == 303
    assert boost_of(sqlite_engine, int(where.rsplit("/", 1)[1])) == (*RAISED[:7], last)
    assert OTHER[:7] == BOOST[:7]


def test_it_is_marked_wherever_it_shows(tuner: Browser, car: CalibrationCar, sqlite_engine: Engine) -> None:
    _, where, _ = ported(tuner, car)
    revision_id = int(where.rsplit("/", 1)[1])
    with reading(sqlite_engine) as session:
        row = revisions.revision(session, revision_id)
        assert (row.kind, row.ported_from_id, row.control_unit_id) == ("ported", car.first, car.other_unit_id)
        assert row.port_report is not None and row.port_report["computed_not_validated"] is True
        vehicle_id = journal.page(session, limit=1)[0].vehicle_id
        assert journal.page(session, limit=1)[0].action == "port revision"
    for page in (
        where,
        f"/compare?from=stock-{car.other_stock_id}&to=r{revision_id}",
        f"/control-units/{car.other_unit_id}/flashes/new",
        f"/vehicles/{vehicle_id}",
    ):
        assert MARK in tuner.get(page).text, page
    words = text_of(tuner.get(where).text)
    assert "Report of the port" in words and "Ported from" in words


@pytest.mark.parametrize(
    ("fields", "status", "sentence"),
    [
        ({"title": ""}, 422, "Write the title"),
        ({"mode": "magic"}, 422, "Choose one of"),
        ({"since": "ever"}, 422, "Choose the changes since the parent or since stock."),
        ({"map": "idle"}, 409, "There is no named map to port"),
        ({"target": "stock-999999999"}, 404, "There is no stock 999999999"),
        ({"target": "r1"}, 409, "Nothing would change in the target"),
    ],
)
def test_a_refusal_says_why_and_records_nothing(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine, fields: dict[str, str], status: int, sentence: str
) -> None:
    mode = "absolute" if "target" in fields else "relative"
    found, _, words = ported(tuner, car, **({"mode": mode} | fields))
    assert found == status
    assert sentence in words
    with reading(sqlite_engine) as session:
        assert len(revisions.of_unit(session, car.unit_id)) == 3
        assert revisions.of_unit(session, car.other_unit_id) == []


def test_a_revision_without_named_maps_cannot_be_ported(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(f"/revisions/{car.second}/port?target=stock-{car.other_stock_id}")
    assert "name the changed ranges first" in text_of(page.text)
