"""The shop can rely on it that a map of floats that are infinite or no number is shown and sent as JSON that is one.

RFC 8259, section 6: "Numeric values that cannot be represented in the grammar (such as Infinity and NaN) are not
permitted."
"""

import json
import math
import re
import struct
from html import unescape
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.record.engine import transaction
from tests.api.caller import Caller
from tests.browser import Browser
from tests.pages.diff.test_compare import text_of
from tests.shop import STOCK, Shop

TABLE = b"""what,name,category,address,columns,rows,data type,byte order,unit,x axis name,x axis address,x axis data type
map,trim,fuel,0x100,4,1,float32,big,%,engine speed,0x180,float32
map,ceiling,limiter,0x110,1,1,float32,big,bar,,,
map,block of floats,other,0x120,4,2,float32,big,,,,
"""  # noqa: E501 - one line is one row of the table
NAN, INF = math.nan, math.inf


def image(trim: tuple[float, ...], ceiling: float, block: tuple[float, ...], speed: tuple[float, ...]) -> bytes:
    data = bytearray(STOCK)
    struct.pack_into(">5f", data, 0x100, *trim, ceiling)
    struct.pack_into(">8f", data, 0x120, *block)
    struct.pack_into(">4f", data, 0x180, *speed)
    return bytes(data)


BEFORE = image((1, NAN, 3, INF), 2.5, (NAN,) * 8, (1000, 2000, 3000, INF))
AFTER = image((1.5, 2, INF, NAN), INF, (NAN, INF, -INF, 1, NAN, 2, NAN, NAN), (1000, 2000, 3000, INF))
MOVED = image((1.5, 2, INF, NAN), INF, (0,) * 8, (1000, NAN, 3000, INF))


@pytest.fixture
def ids(app: FastAPI, sqlite_engine: Engine) -> list[int]:
    """Stock, two revisions of it, and the stock of a sister car."""
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        shop.layout(TABLE)
        unit, other = shop.unit(), shop.unit()
        stock = shop.stock(unit, BEFORE)
        revisions = [shop.revision(unit, data, title=title) for data, title in ((AFTER, "a"), (MOVED, "m"))]
        return [stock.id, *(one.id for one in revisions), shop.stock(other, BEFORE).id]


def sound(text: str) -> Any:
    """Parsed by the letter: Python's parser would let NaN and Infinity pass."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize("which", [1, 2])
def test_every_way_of_looking_at_it_works(tuner: Browser, ids: list[int], which: int) -> None:
    base = f"/compare?from=stock-{ids[0]}&to=r{ids[which]}"
    for name in ("trim", "ceiling", "block of floats"):
        for show in ("change", "percent", "before", "after"):
            page = tuner.get(f"{base}&map={name}&show={show}")
            assert page.status_code == 200
            charts = re.findall(r'<pre id="[^"]*-data" hidden>(.*?)</pre>', page.text, re.DOTALL)
            for chart in charts:
                sound(unescape(chart))
    for order in ("size", "name"):
        assert tuner.get(f"{base}&sort={order}").status_code == 200


def test_what_has_no_figure_is_said_in_words(tuner: Browser, ids: list[int]) -> None:
    base = f"/compare?from=stock-{ids[0]}&to=r{ids[1]}"
    ceiling = text_of(tuner.get(f"{base}&map=ceiling").text)
    assert "2.500 became ∞ bar; no figure can be given for the change." in ceiling
    trim = text_of(tuner.get(f"{base}&map=trim").text)
    assert "4 of 4 cells changed; the largest change is +0.500 % (+50.0 %) at engine speed 1,000.000" in trim
    assert "3 changed cells are infinite or no number before or after; they count in no figure." in trim
    block = text_of(tuner.get(f"{base}&map=block of floats").text)
    assert "4 cells of 8 changed from or to what is no finite number; no figure can be given for the change." in block


def test_the_revision_its_history_and_its_downloads_work(tuner: Browser, ids: list[int]) -> None:
    words = text_of(tuner.get(f"/revisions/{ids[1]}").text)
    assert "ceiling limiter no figure" in words
    for name in ("trim", "ceiling", "block of floats"):
        history = tuner.get(f"/revisions/{ids[1]}/maps/{name}?row=1&column=1")
        assert history.status_code == 200 and not re.search(r"\b(nan|inf)\b", text_of(history.text))
    query = f"from=stock-{ids[0]}&to=r{ids[1]}"
    whole = sound(tuner.get(f"/compare/deltas.json?{query}").text)
    trim = next(one for one in whole["deltas"] if one["name"] == "trim")
    assert (trim["before"], trim["after"]) == ([1.0, None, 3.0, "Infinity"], [1.5, 2.0, "Infinity", None])
    table = tuner.get(f"/compare/deltas.csv?{query}").content.decode("utf-8-sig")
    assert "ceiling,limiter,bar" in table and "after is infinite" in table


def test_programs_get_json(app: FastAPI, sqlite_engine: Engine, ids: list[int]) -> None:
    caller = Caller(app, sqlite_engine, "tuner")
    for revision in ids[1:3]:
        for path in (f"/revisions/{revision}", f"/revisions/{revision}/deltas"):
            answer = caller.get(path)
            assert answer.status_code == 200, answer.text
            sound(answer.text)
    for mode in ("relative", "percent", "absolute"):
        body = {"target": f"stock-{ids[3]}", "title": mode, "purpose": "p", "mode": mode}
        answer = caller.post(f"/revisions/{ids[1]}/port", body)
        assert answer.status_code == 201, answer.text
        found = sound(answer.text)
        assert found["sha256"] == caller.get(f"/revisions/{ids[1]}").json()["sha256"]


def test_a_range_of_them_can_be_named(tuner: Browser, ids: list[int]) -> None:
    query = f"from=stock-{ids[0]}&to=r{ids[1]}&start=0x120&end=0x140"
    fields = "&kind=block&address=0x120&data_type=float32&byte_order=big&columns=4&rows=2&factor=1&offset=0"
    preview = tuner.get(f"/compare/name/preview?{query}{fields}")
    assert preview.status_code == 200 and "∞" in preview.text
