"""What people and programs read when something goes wrong.

The API's errors are problem details as RFC 9457 describes them.
"""

import html
import logging
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import APIRouter, FastAPI
from sqlalchemy import Engine, event, select, text

from app.errors import AppError, BadInput, Conflict, Damaged, Forbidden, NotFound, NotSignedIn, StorageFailed, TooLarge
from app.main import create_app
from app.record.engine import reading
from app.record.tables import Person
from app.settings import Settings
from app.web.transaction import Read, Write
from tests.browser import Browser

RAISED: dict[str, Exception] = {
    "bad-input": BadInput("The speed column is missing.", field="file", where="line 12", details=("column 3",)),
    "too-large": TooLarge("The file is too large."),
    "not-found": NotFound("There is no vehicle 7."),
    "conflict": Conflict("This car is in the shop already."),
    "not-signed-in": NotSignedIn("Sign in to go on."),
    "forbidden": Forbidden("Only a manager may do this."),
    "damaged": Damaged("Stored file 12ab… does not hold."),
    "storage": StorageFailed("The disk is full: nothing was saved."),
    "unexpected": ZeroDivisionError("secret inner value 4711"),
}


@pytest.fixture
def failing(app: FastAPI) -> Iterator[Browser]:
    """The program with routes added that raise each error."""
    router = APIRouter()

    @router.get("/raise/{name}")
    @router.get("/api/v1/raise/{name}")
    def raise_it(name: str) -> None:
        raise RAISED[name]

    @router.post("/half")
    def half(session: Write) -> None:
        session.add(Person(name="Half", role="tuner", preferences={}, made_at=None))

    @router.get("/write-on-read")
    def write_on_read(session: Read) -> str:
        session.execute(text("insert into shop_setting values ('name', '{}')"))
        return "written"

    own = create_app(Settings(database_url=""), app.state.engine)
    own.include_router(router)
    with Browser(own) as browser:
        yield browser


@pytest.mark.parametrize("name", sorted(RAISED))
def test_a_page_says_in_one_sentence_what_is_wrong(failing: Browser, name: str) -> None:
    error = RAISED[name]
    answer = failing.get(f"/raise/{name}")
    if name == "not-signed-in":
        assert answer.headers["location"] == "/sign-in?next=/raise/not-signed-in"
        return
    assert answer.status_code == (error.status if isinstance(error, AppError) else 500)
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    if isinstance(error, AppError):
        assert error.sentence in answer.text
        for detail in (error.where, *error.details):
            assert detail is None or detail in answer.text


@pytest.mark.parametrize("name", sorted(RAISED))
def test_the_api_answers_with_problem_details(failing: Browser, name: str) -> None:
    error = RAISED[name]
    answer = failing.get(f"/api/v1/raise/{name}")
    body = answer.json()
    assert answer.headers["content-type"] == "application/problem+json"
    assert body["status"] == answer.status_code
    assert body["type"] == "about:blank" and body["title"] and body["detail"]
    assert body["instance"] == f"/api/v1/raise/{name}"
    if name == "bad-input":
        assert body["detail"] == "line 12: The speed column is missing."
        assert (body["field"], body["where"], body["details"]) == ("file", "line 12", ["column 3"])
    assert ("www-authenticate" in answer.headers) is isinstance(error, NotSignedIn)


def ways(page: str) -> list[tuple[str, str]]:
    """(label, address) of the buttons that lead on from an error."""
    found = re.search(r"<main\b.*?</main>", page, re.S)
    assert found is not None
    links = re.findall(r'<a class="button" href="([^"]*)"[^>]*>(.*?)</a>', found[0])
    return [(label, html.unescape(href)) for href, label in links]


HOME = [("Vehicles", "/vehicles"), ("Today", "/")]


def test_an_address_without_anything_leads_on_in_the_persons_own_frame(manager: Browser, anonymous: Browser) -> None:
    """No route asks who is there, so the page does: it stood without search, navigation and name."""
    page = manager.get("/nothing").text
    assert ways(page) == HOME
    assert 'id="site-search"' in page and 'id="error-search"' in page and ">Journal</a>" in page
    unknown = anonymous.get("/nothing").text
    assert ways(unknown) == [("Sign in", "/sign-in")]
    assert "-search" not in unknown and ">Journal</a>" not in unknown


@pytest.mark.parametrize(
    ("referer", "before"),
    [
        ("http://localhost/vehicles?q=a&sort=x", "/vehicles?q=a&sort=x"),
        ("http://localhost/", "/"),
        ("http://localhost/vehicles/999", None),
        ("http://localhost/sign-in?next=/vehicles/999", None),
        ("http://localhost//evil.example/", None),
        ("http://evil.example/vehicles", None),
        ("http://localhost.evil.example/vehicles", None),
        ("http://[", None),
        ("vehicles", None),
    ],
)
def test_an_error_leads_back_to_the_page_before_where_that_is_one_of_ours(
    manager: Browser, referer: str, before: str | None
) -> None:
    page = manager.get("/vehicles/999", headers={"referer": referer}).text
    assert ways(page) == ([] if before is None else [("Back to the page before", before)]) + HOME


def test_a_refusal_leads_back_to_the_form_and_offers_no_search(front_desk: Browser) -> None:
    answer = front_desk.submit("/people", {"name": "x"}, headers={"referer": "http://localhost/people"})
    assert answer.status_code == 403
    assert ways(answer.text) == [("Back to the page before", "/people"), *HOME]
    assert 'id="error-search"' not in answer.text


def test_what_failed_on_reading_can_be_tried_again(failing: Browser) -> None:
    assert ways(failing.get("/raise/unexpected?a=1&b=2").text)[0] == ("Try again", "/raise/unexpected?a=1&b=2")
    assert "Try again" not in failing.get("/raise/conflict").text


def test_a_defect_shows_a_reference_and_keeps_its_text_in_the_log(
    failing: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR, "revledger"):
        page = failing.get("/raise/unexpected").text
    assert "4711" not in page and "ZeroDivision" not in page and "Traceback" not in page
    reference = re.search(r'evidence-value">([0-9a-f]{8})<', page)
    (line,) = [record.getMessage() for record in caplog.records]
    assert reference is not None and reference[1] in line
    assert "4711" in line and "\n" not in line


@pytest.mark.parametrize("name", ["bad-input", "unexpected"])
def test_htmx_gets_the_sentence_without_the_frame(failing: Browser, name: str) -> None:
    answer = failing.get(f"/raise/{name}", headers={"hx-request": "true"})
    assert "<html" not in answer.text and 'role="alert"' in answer.text


def test_htmx_is_sent_to_sign_in_as_a_whole_page(failing: Browser) -> None:
    answer = failing.get(
        "/raise/not-signed-in", headers={"hx-request": "true", "hx-current-url": "http://localhost/vehicles?q=x"}
    )
    assert answer.status_code == 401
    assert answer.headers["hx-redirect"] == "/sign-in?next=/vehicles%3Fq%3Dx"


def test_a_form_sent_after_the_sign_in_ended_leads_back_to_its_page(failing: Browser) -> None:
    answer = failing.submit("/people", {"name": "x"}, headers={"referer": "http://localhost/people?a=b"})
    assert answer.headers["location"] == "/sign-in?next=/people%3Fa%3Db"


def test_a_sentence_repeats_what_can_be_printed_of_what_came_in_and_not_all_of_it() -> None:
    said = BadInput("“a\x00b\x07c\u202e” is no number; write it like 0.25 or 5\u202f%.").sentence
    assert said == "“abc” is no number; write it like 0.25 or 5\u202f%."
    said = str(BadInput(f"“{'m' * 100_000}” is no choice.", where="line 2"))
    assert said == f"line 2: “{'m' * 79}…” is no choice."


def test_a_wrong_field_is_named_in_words(manager: Browser) -> None:
    answer = manager.get("/api/v1/journal?limit=many&person=123456789012345678901")
    body = answer.json()
    assert answer.status_code == 422
    assert body["detail"] == "Person should have at most 20 characters."
    assert body["details"] == ["Limit must be a whole number."]
    assert body["field"] == "person"
    over = manager.get("/api/v1/journal?limit=1000").json()
    assert over["detail"] == "Limit should be less than or equal to 200."


def test_what_is_sent_is_never_repeated_unescaped(manager: Browser) -> None:
    answer = manager.submit("/people", {"<script>alert(1)</script>": "x"})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text


def test_an_address_that_takes_no_such_request_says_what_it_takes(anonymous: Browser) -> None:
    answer = anonymous.put("/sign-in")
    assert answer.status_code == 405
    assert "GET" in answer.headers["allow"] or "POST" in answer.headers["allow"]


# Nothing is told to be saved that was not


def test_a_refused_statement_saves_nothing_and_is_no_success(failing: Browser, sqlite_engine: Engine) -> None:
    answer = failing.post("/half")
    assert answer.status_code == 409
    with reading(sqlite_engine) as session:
        assert session.scalars(select(Person).where(Person.name == "Half")).first() is None


def test_reading_cannot_write(failing: Browser, sqlite_engine: Engine) -> None:
    failing.get("/write-on-read")
    with reading(sqlite_engine) as session:
        assert session.execute(text("select count(*) from shop_setting")).scalar() == 0


def test_a_full_database_is_told_as_such_and_recovers_without_a_restart(
    manager: Browser, sqlite_engine: Engine
) -> None:
    limit_pages(sqlite_engine, 1)
    for n in range(300):  # until the pages that are there are used up
        answer = manager.submit("/settings/preferences", {"theme": ("dark", "light")[n % 2]})
        if answer.status_code != 303:
            break
    assert answer.status_code == 507
    assert "The disk is full: nothing was saved." in answer.text
    assert manager.get("/people").status_code == 200
    limit_pages(sqlite_engine, 100_000)
    assert manager.submit("/settings/preferences", {"theme": "light"}).status_code == 303


def limit_pages(engine: Engine, pages: int) -> None:
    """SQLite's own quota, on each connection that exists or comes."""

    def limit(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"pragma max_page_count = {pages}").close()

    event.listen(engine, "connect", limit)
    engine.dispose()


def test_a_database_that_is_gone_gets_a_page_all_the_same(tmp_path: Path) -> None:
    with Browser(create_app(Settings(database_url=f"sqlite:///{tmp_path}/none/none.db"))) as browser:
        answer = browser.get("/sign-in")
    assert answer.status_code == 500
    assert "<h1>" in answer.text and "none.db" not in answer.text
    assert ways(answer.text) == [("Try again", "/sign-in"), ("Go to Today", "/")]
