"""The shop can rely on it that a layout grows from use: each addition is a new version and fits the rest."""

import re
import zlib
from collections.abc import Callable

import pytest
from sqlalchemy import Engine

from app.calc.calibration.layout import VolatileRange
from app.record import journal, layouts
from app.record.engine import reading, transaction
from tests.browser import Browser
from tests.calibration_car import CalibrationCar, calibration_car
from tests.pages.diff.test_compare import text_of
from tests.shop import Shop, changed, image_bytes

BLOCK = {
    "name": "rest",
    "algorithm": "SUM-16/8-BIT",
    "ranges": "0x200-0x2FF",
    "stored_at": "0x300",
    "byte_order": "big",
}
BARE = b"what,name,category,address,columns,rows,data type\nmap,m,other,0x800,1,1,uint8\n"


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def test_a_block_checksum_that_is_known_becomes_part_of_the_next_version(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    answer = tuner.submit(f"/layouts/{car.layout_id}/checksums", BLOCK)
    assert answer.status_code == 303
    assert "SUM-16/8-BIT 0x200–0x2FF 0x300, big-endian" in text_of(tuner.get(answer.headers["location"]).text)
    with reading(sqlite_engine) as session:
        newest = layouts.versions(session, "Engine 1")[0]
        (added,) = [one for one in layouts.require(session, newest).checksums if one.name == "rest"]
        assert (added.ranges, added.stored_at, newest.version) == (((0x200, 0x300),), 0x300, 2)
        assert journal.page(session, limit=1)[0].action == "add block checksum"


def test_a_volatile_range_needs_its_reason_and_ends_with_its_last_address(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    path = f"/layouts/{car.layout_id}/volatile-ranges"
    refused = tuner.submit(path, {"range": "0x600-0x6FF", "reason": ""})
    assert refused.status_code == 422
    assert "Write why the control unit rewrites this range" in text_of(refused.text)
    assert tuner.submit(path, {"range": "600 to 6ff", "reason": "idle adaptation"}).status_code == 303
    with reading(sqlite_engine) as session:
        known = layouts.require(session, layouts.versions(session, "Engine 1")[0])
        assert known.volatile[-1] == VolatileRange(0x600, 0x700, "idle adaptation")


def test_a_map_is_put_into_another_category(tuner: Browser, car: CalibrationCar, sqlite_engine: Engine) -> None:
    page = tuner.get(f"/layouts/{car.layout_id}?map=boost+target")
    assert 'value="boost target"' in page.text
    answer = tuner.submit(f"/layouts/{car.layout_id}/categories", {"map": "boost target", "category": "limiter"})
    assert answer.status_code == 303
    with reading(sqlite_engine) as session:
        known = layouts.require(session, layouts.versions(session, "Engine 1")[0])
        assert known.map("boost target").category == "limiter"


@pytest.mark.parametrize(
    ("path", "fields", "sentence"),
    [
        ("checksums", BLOCK | {"name": ""}, "Write the block's name."),
        ("checksums", BLOCK | {"algorithm": "magic"}, "magic"),
        ("checksums", BLOCK | {"ranges": "0x200"}, "is no range"),
        ("checksums", BLOCK | {"ranges": "0x300-0x200"}, "ends before it begins"),
        ("checksums", BLOCK | {"stored_at": "0x104"}, "inside the map"),
        ("checksums", BLOCK | {"stored_at": "zz"}, "is no address"),
        ("checksums", BLOCK | {"name": "block"}, "defined twice"),
        ("volatile-ranges", {"range": "0x190-0x19F", "reason": "again"}, "overlaps the volatile range"),
        ("volatile-ranges", {"range": "0x1-0x2, 0x5-0x6", "reason": "two"}, "one range at a time"),
        ("categories", {"map": "idle", "category": "fuel"}, "has no map"),
        ("categories", {"map": "boost target", "category": "speed"}, "Choose one of"),
    ],
)
def test_what_contradicts_the_layout_is_refused_with_a_sentence(
    tuner: Browser, car: CalibrationCar, path: str, fields: dict[str, str], sentence: str
) -> None:
    page = tuner.submit(f"/layouts/{car.layout_id}/{path}", fields)
    assert page.status_code == 422
    assert sentence in text_of(page.text)


def test_saying_the_same_again_is_no_new_version(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.submit(f"/layouts/{car.layout_id}/categories", {"map": "boost target", "category": "boost"})
    assert page.status_code == 409
    assert "says this already" in text_of(page.text)


def test_an_earlier_version_is_only_looked_at(browser: Callable[[str | None], Browser], car: CalibrationCar) -> None:
    browser("tuner").submit(f"/layouts/{car.layout_id}/checksums", BLOCK)
    page = browser("tuner").get(f"/layouts/{car.layout_id}").text
    assert "v2 is the newest" in page and "Add a block checksum" not in page
    late = browser("tuner").submit(f"/layouts/{car.layout_id}/checksums", BLOCK | {"name": "x", "stored_at": "0x310"})
    assert late.status_code == 409
    assert "Add a block checksum" not in browser("front_desk").get("/layouts/2").text


def sealed(seed: int) -> bytes:
    """Bytes with their CRC-32/ISO-HDLC in the last four, big-endian; zlib's is another implementation of it."""
    data = image_bytes(seed)[:-4]
    return data + zlib.crc32(data).to_bytes(4, "big")


def test_the_search_finds_the_planted_checksum_past_a_broken_image(
    tuner: Browser, app: object, sqlite_engine: Engine
) -> None:
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        layout_id = shop.layout(BARE, name="Bare").id
        for seed in (1, 2):
            shop.stock(shop.unit(), sealed(seed))
        unit = shop.unit()
        shop.stock(unit, sealed(3))
        shop.revision(unit, changed(sealed(3), 5))  # never flashed: its checksum does not hold
    search = f"/layouts/{layout_id}/checksum-search"
    working = tuner.submit(search).headers["location"]
    stream = tuner.get(f"{working}/events").text
    finished = re.search(r'event: finished\ndata: .*"href": "([^"]+)"', stream)
    assert finished is not None, stream
    assert tuner.get(working).headers["location"] == finished[1]
    page = tuner.get(finished[1]).text
    assert "Holds in 3 of 3 images" in text_of(page)
    found = dict(re.findall(r'type="hidden" name="(algorithm|ranges|stored_at|byte_order)" value="([^"]+)"', page))
    assert found == {
        "algorithm": "CRC-32/ISO-HDLC",
        "ranges": "0x0-0xFFB",
        "stored_at": "0xFFC",
        "byte_order": "big",
    }
    accepted = tuner.submit(f"/layouts/{layout_id}/checksums", found | {"name": "whole"})
    assert accepted.status_code == 303
    with reading(sqlite_engine) as session:
        assert layouts.versions(session, "Bare")[0].checksum_count == 1
    again = text_of(tuner.get(finished[1].replace(f"/layouts/{layout_id}/", f"/layouts/{layout_id + 1}/")).text)
    assert "Nothing further was found in 3 images." in again
    assert "What the search found, 1 block checksum, is in the layout already." in again


def test_a_search_without_two_images_says_what_it_needs(tuner: Browser, app: object, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        layout_id = Shop(session).layout(BARE, name="Bare").id
    assert "needs at least two different images" in text_of(tuner.get(f"/layouts/{layout_id}/checksum-search").text)
    working = tuner.submit(f"/layouts/{layout_id}/checksum-search").headers["location"]
    tuner.get(f"{working}/events")
    assert "needs at least two different images" in text_of(tuner.get(working).text)


@pytest.mark.parametrize(
    "found", ["x", "CRC-8/AUTOSAR~0-10~zz~big~1", "magic~0-10~20~big~1", "CRC-8/AUTOSAR~0~20~big~1"]
)
def test_an_address_that_names_no_candidate_is_refused(tuner: Browser, car: CalibrationCar, found: str) -> None:
    page = tuner.get(f"/layouts/{car.layout_id}/checksum-search/candidates", params={"found": found})
    assert page.status_code == 422
