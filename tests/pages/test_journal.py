"""The journal by person, car, act and day: one address says what is shown, whatever page or file it is asked for."""

import csv
import io
import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.record import journal
from app.record.journal import PROGRAM, Wanted
from app.web.journal_filter import JournalFilter
from tests.browser import Browser
from tests.pages.prepared import content, refusal, shop_on
from tests.shop import Shop


@pytest.fixture
def acts(app: FastAPI, sqlite_engine: Engine) -> int:
    """Two cars, the first with a unit and its stock; the id of the person who did it."""
    with shop_on(sqlite_engine) as shop:
        shop.stock(shop.unit(shop.car()))
        shop.car()
        return shop.person.id


def numbers(page: str) -> list[int]:
    return [int(found) for found in re.findall(r'<th scope="row"><a href="/journal/(\d+)">', page)]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", [5, 4, 3, 2, 1]),
        ("act=register+vehicle", [5, 1]),
        ("act=register+vehicle&vehicle_id=2", [5]),
        ("vehicle_id=1", [4, 3, 2, 1]),
        ("person=program", []),
        ("person=4&act=&car=&from=&to=", [5, 4, 3, 2, 1]),
        ("person=1", []),
        ("from=2200-01-01", []),
        ("to=1999-12-31", []),
        ("from=1999-12-31&to=2200-01-01", [5, 4, 3, 2, 1]),
        ("before=3&act=register+vehicle", [1]),
    ],
)
def test_an_address_shows_what_it_asks_for(front_desk: Browser, acts: int, query: str, expected: list[int]) -> None:
    assert acts == 4
    page = front_desk.get(f"/journal?{query}")
    assert page.status_code == 200
    assert numbers(page.text) == expected
    if "before" not in query:
        out = front_desk.get(f"/journal.csv?{query}").content.decode("utf-8-sig")
        assert [int(row["seq"]) for row in csv.DictReader(io.StringIO(out, newline=""))] == expected
        items = front_desk.get(f"/journal.json?{query}", follow_redirects=True).json()["items"]
        assert [one["seq"] for one in items] == expected


def test_changes_of_colours_and_units_are_left_out_only_when_asked(front_desk: Browser, acts: int) -> None:
    for theme in ("dark", "light"):
        front_desk.submit("/theme", {"theme": theme})
    assert numbers(front_desk.get("/journal").text) == [7, 6, 5, 4, 3, 2, 1]
    address = "?act=&without=preferences"
    page = front_desk.get(f"/journal{address}").text
    assert numbers(page) == [5, 4, 3, 2, 1]
    assert re.search(r'<input type="checkbox" id="without" name="without" value="preferences" checked>', page)
    assert 'href="/journal.csv?without=preferences"' in page
    out = front_desk.get(f"/journal.csv{address}").content.decode("utf-8-sig")
    assert [int(row["seq"]) for row in csv.DictReader(io.StringIO(out, newline=""))] == [5, 4, 3, 2, 1]
    items = front_desk.get(f"/journal.json{address}", follow_redirects=True).json()["items"]
    assert [one["seq"] for one in items] == [5, 4, 3, 2, 1]


def test_nothing_else_can_be_left_out(front_desk: Browser, acts: int) -> None:
    answer = front_desk.get("/journal?without=flashes")
    assert answer.status_code == 422
    assert refusal(answer) == "Only “preferences” can be left out of the journal."
    assert front_desk.get("/api/v1/journal?without=flashes").json()["field"] == "without"


def test_a_car_is_found_by_any_of_its_words(front_desk: Browser, acts: int, sqlite_engine: Engine) -> None:
    page = front_desk.get("/journal?vehicle_id=2").text
    label = re.search(r'<option value="2" selected>([^<]+)<', page)
    assert label is not None
    plate = label[1].split()[-1]
    found = front_desk.get(f"/journal?car={plate}").text
    assert numbers(found) == [5]
    assert f'value="{plate}"' in found
    assert 'href="/journal.csv?car=' in found
    assert "No entry is like that" in content(front_desk.get("/journal?car=no-such-plate"))


def test_what_is_no_day_is_refused_with_what_was_typed(front_desk: Browser, acts: int) -> None:
    answer = front_desk.get("/journal?from=yesterday&act=log+flash")
    assert answer.status_code == 422
    assert refusal(answer) == "From: “yesterday” is no date like 2026-11-25."
    assert 'value="yesterday"' in answer.text
    assert "No entry is like that" not in answer.text
    assert front_desk.get("/journal.csv?from=yesterday").status_code == 422
    assert front_desk.get("/api/v1/journal?to=9999-12-31").status_code == 422


def test_older_entries_keep_the_filter(front_desk: Browser, sqlite_engine: Engine) -> None:
    with shop_on(sqlite_engine) as shop:
        for _ in range(62):
            shop.car()
    first = front_desk.get("/journal?act=register+vehicle").text
    older = re.search(r'href="(/journal\?act=register\+vehicle&amp;before=\d+)"', first)
    assert older is not None
    rest = front_desk.get(older[1].replace("&amp;", "&")).text
    assert (len(numbers(first)), len(numbers(rest))) == (50, 12)
    assert numbers(rest)[-1] == 1
    assert 'href="/journal?act=register+vehicle"' in rest


def test_the_record_finds_by_person_act_and_moment_on_either_database(session: Session) -> None:
    shop = Shop(session)
    shop.car()
    shop.unit(shop.car())
    first, second, third = journal.page(session)[::-1]
    assert [e.seq for e in journal.page(session, wanted=Wanted(since=second.at, until=third.at))] == [second.seq]
    assert journal.page(session, wanted=Wanted(until=first.at)) == []
    assert journal.page(session, wanted=Wanted(person_id=PROGRAM)) == []
    by_person = Wanted(person_id=shop.person.id, action="add control unit")
    assert [e.seq for e in journal.page(session, wanted=by_person)] == [third.seq]
    assert set(journal.actions(session)) == {"register vehicle", "add control unit"}


def test_days_are_the_workshops_and_the_last_one_counts_in() -> None:
    # UTC+1 in winter, UTC+2 from 29 March 2026, 01:00 UTC on (IANA time zone data, Europe/Berlin).
    wanted = JournalFilter(since="2026-03-29", until="2026-03-29").read(ZoneInfo("Europe/Berlin"))
    assert wanted.since == datetime(2026, 3, 28, 23, tzinfo=UTC)
    assert wanted.until == datetime(2026, 3, 29, 22, tzinfo=UTC)
    exact = JournalFilter(since="2026-03-29T10:00:00Z", until="2026-03-29T10:00:00Z").read(ZoneInfo("Europe/Berlin"))
    assert exact.since == datetime(2026, 3, 29, 10, tzinfo=UTC)
    assert exact.until == datetime(2026, 3, 29, 10, microsecond=1, tzinfo=UTC)
