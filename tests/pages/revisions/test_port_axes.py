"""The shop can rely on it that a port lists the other maps that are read at breakpoints it writes, before and after."""

import struct

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record.engine import transaction
from tests.api.caller import Caller
from tests.browser import Browser
from tests.pages.diff.test_compare import text_of
from tests.shop import STOCK, Shop

# Two curves over the four speeds at 0x200: boost at 0x100, spark at 0x120; a third map that has no axis.
TABLE = b"""what,name,category,address,columns,rows,data type,byte order,unit,factor,x axis name,x axis address,x axis data type
map,boost target,boost,0x100,4,1,uint16,big,bar,0.001,engine speed,0x200,uint16
map,spark advance,ignition,0x120,4,1,uint8,big,deg,0.5,engine speed,0x200,uint16
map,rev limit,limiter,0x130,1,1,uint16,big,1/min,1,,,
"""  # noqa: E501 - one line is one row of the table
SPEEDS, MOVED = (1000, 2000, 3000, 4000), (1000, 2500, 3000, 4000)


def image(speeds: tuple[int, ...] = SPEEDS, boost: int = 1500) -> bytes:
    data = bytearray(STOCK)
    struct.pack_into(">4H", data, 0x200, *speeds)
    struct.pack_into(">4H", data, 0x100, 1000, 1200, 1400, boost)
    struct.pack_into(">4BH", data, 0x120, 20, 30, 40, 50, 0)
    return bytes(data)


@pytest.fixture
def ids(app: FastAPI, sqlite_engine: Engine) -> tuple[int, int]:
    """The revision with a moved breakpoint, and the stock of a sister car."""
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        shop.layout(TABLE)
        unit, other = shop.unit(), shop.unit()
        shop.stock(unit, image())
        revision = shop.revision(unit, image(MOVED, 1600))
        return revision.id, shop.stock(other, image()).id


def test_every_other_map_is_listed_before_and_after_the_port_is_kept(tuner: Browser, ids: tuple[int, int]) -> None:
    revision, stock = ids
    whole = text_of(tuner.get(f"/revisions/{revision}/port?target=stock-{stock}").text)
    assert "2 of 2 maps ported" in whole and "further map" not in whole
    one = text_of(tuner.get(f"/revisions/{revision}/port?target=stock-{stock}&map=boost+target").text)
    sentence = "The breakpoints of engine speed are written for boost target, and one further map is read at them too."
    assert sentence in one and "The map read at these breakpoints spark advance" in one
    told = {"title": "t", "purpose": "p", "map": "boost target", "target": f"stock-{stock}"}
    kept = tuner.submit(f"/revisions/{revision}/port", told | {"mode": "relative", "since": "parent"})
    assert kept.status_code == 303
    assert sentence in text_of(tuner.get(kept.headers["location"]).text)


def test_programs_get_the_list(app: FastAPI, sqlite_engine: Engine, ids: tuple[int, int]) -> None:
    body = {"target": f"stock-{ids[1]}", "title": "t", "purpose": "p", "maps": ["spark advance"]}
    found = Caller(app, sqlite_engine, "tuner").post(f"/revisions/{ids[0]}/port", body).json()
    assert found["port_report"]["shared_axes"] == [
        {"axis": "engine speed", "written_for": ["spark advance"], "also_read_by": ["boost target"]}
    ]
