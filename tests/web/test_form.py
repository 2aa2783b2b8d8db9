"""A form is recorded once, however often it arrives; numbers are read as people type them."""

import threading
from datetime import UTC, datetime

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, func, select

from app.errors import BadInput
from app.record import people
from app.record.engine import reading, transaction
from app.record.tables import JournalEntry, Person
from app.web.form import read_number
from tests.browser import Browser
from tests.conftest import token_for

TOM = {"name": "Tom Vale", "role": "tuner", "password": "green lamps hum"}
KEY = "k" * 24


def count(engine: Engine, what: type[JournalEntry] | type[Person]) -> int:
    with reading(engine) as session:
        return session.scalar(select(func.count()).select_from(what)) or 0


def test_the_same_form_sent_twice_leads_to_the_same_place_and_is_recorded_once(
    manager: Browser, sqlite_engine: Engine
) -> None:
    answers = [manager.submit("/people", TOM, key=KEY) for _ in range(3)]
    assert [(a.status_code, a.headers["location"]) for a in answers] == [(303, "/people")] * 3
    assert count(sqlite_engine, JournalEntry) == 1


def test_going_back_and_changing_the_content_is_a_new_entry(manager: Browser, sqlite_engine: Engine) -> None:
    manager.submit("/people", TOM, key=KEY)
    manager.submit("/people", TOM | {"name": "Tom Wale"}, key=KEY)
    assert count(sqlite_engine, JournalEntry) == 2


def at_once(app: FastAPI, cookie: str, number: int, path: str, data: dict[str, str]) -> list[tuple[int, str | None]]:
    answers: list[tuple[int, str | None]] = []

    def send(browser: Browser) -> None:
        answer = browser.submit(path, data, key=KEY)
        answers.append((answer.status_code, answer.headers.get("location")))

    browsers = [Browser(app) for _ in range(number)]
    for browser in browsers:
        browser.cookies.set("revledger", cookie)
    threads = [threading.Thread(target=send, args=(browser,)) for browser in browsers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def test_fifty_sendings_at_once_are_recorded_once(app: FastAPI, manager: Browser, sqlite_engine: Engine) -> None:
    answers = at_once(app, manager.cookies["revledger"], 50, "/settings/preferences", {"theme": "dark"})
    assert answers == [(303, "/settings")] * 50
    assert count(sqlite_engine, JournalEntry) == 1


def test_a_sending_that_finds_its_own_work_done_is_led_there_and_not_refused(
    app: FastAPI, manager: Browser, sqlite_engine: Engine
) -> None:
    answers = at_once(app, manager.cookies["revledger"], 4, "/people", TOM)
    assert answers == [(303, "/people")] * 4  # not "there is already a person called Tom Vale"
    assert count(sqlite_engine, JournalEntry) == 1
    assert count(sqlite_engine, Person) == 4


FORMS = [
    ("/people", TOM),
    ("/vehicles", {"vin": "WRVZZZ8V0JA000017", "plate": "", "make": "Veltra", "model": "Nord", "year": "2018"}),
    ("/dynos", {"name": "Cell 1", "note": "Hub dyno"}),
]


@pytest.mark.parametrize(("path", "data"), FORMS, ids=[path for path, _ in FORMS])
def test_whichever_database_and_form_each_of_two_sendings_at_once_is_answered_as_the_first(
    built_app: FastAPI, engine: Engine, path: str, data: dict[str, str]
) -> None:
    with transaction(engine) as session:
        people.add(session, name="manager", role="manager", password_hash=None, at=datetime.now(UTC))
    built_app.state.engine = engine
    cookie = token_for(engine, "manager")
    answers = at_once(built_app, cookie, 2, path, data)
    assert answers[0] == answers[1]
    assert answers[0][0] == 303
    assert count(engine, JournalEntry) == 1


def test_another_persons_repeat_is_not_led_along(app: FastAPI, manager: Browser, sqlite_engine: Engine) -> None:
    manager.submit("/theme", {"theme": "dark"})
    manager.submit("/settings/preferences", {"theme": "dark"}, key=KEY)
    other = Browser(app)
    other.cookies.set("revledger", token_for(sqlite_engine, "tuner"))
    assert other.submit("/settings/preferences", {"theme": "dark"}, key=KEY).status_code == 409


@pytest.mark.parametrize("key", ["", "short", "x" * 65])
def test_a_form_without_our_key_is_refused(manager: Browser, sqlite_engine: Engine, key: str) -> None:
    answer = manager.post("/people", data=TOM | {"form_key": key})
    assert answer.status_code == 422
    assert "load the page again" in answer.text
    assert count(sqlite_engine, JournalEntry) == 0


def test_a_form_with_a_field_it_does_not_have_is_refused(manager: Browser, sqlite_engine: Engine) -> None:
    answer = manager.submit("/people", TOM | {"active": "no"})
    assert answer.status_code == 422
    assert "Active is not a field of this form." in answer.text
    assert count(sqlite_engine, JournalEntry) == 0


def test_a_refused_form_leaves_nothing_and_its_key_is_free(manager: Browser, sqlite_engine: Engine) -> None:
    assert manager.submit("/people", TOM | {"password": "short"}, key=KEY).status_code == 422
    assert manager.submit("/people", TOM, key=KEY).status_code == 303
    assert count(sqlite_engine, JournalEntry) == 1


def test_htmx_is_told_to_load_the_page_that_a_form_leads_to(manager: Browser) -> None:
    answer = manager.submit("/people", TOM, headers={"hx-request": "true"})
    assert (answer.status_code, answer.headers["hx-redirect"]) == (200, "/people")


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        (" 1 250 ", 1250.0),
        ("1\u202f250,5", 1250.5),
        ("\u22123.2", -3.2),
        ("-3,2", -3.2),
        ("+7", 7.0),
        ("0,125", 0.125),
        (".5", 0.5),
        ("1e3", 1000.0),
        ("", None),
        ("  ", None),
        (None, None),
    ],
)
def test_numbers_are_read_with_a_point_or_a_comma(typed: str | None, value: float | None) -> None:
    assert read_number(typed, field="f", label="Value") == value


@pytest.mark.parametrize(
    "typed",
    ["1,250", "1.250,5", "1,250.5", "1,2,3", "12 V", "abc", "nan", "inf", "1e999", "0x10", "1_000", "--1", "١٢", "²"],
)
def test_what_is_no_number_or_can_be_read_in_two_ways_is_refused(typed: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_number(typed, field="f", label="Value")
    assert refused.value.field == "f"
    assert "Value" in refused.value.sentence


def test_a_number_out_of_bounds_is_refused_with_the_bounds_and_the_unit() -> None:
    with pytest.raises(BadInput) as refused:
        read_number("130", field="supply", label="Supply voltage", lowest=9, highest=60, unit="V")
    assert refused.value.sentence == "Supply voltage must be from 9 to 60 V; “130” is not."


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_clear_refusal(typed: str) -> None:
    try:
        value = read_number(typed, field="f", label="Value", lowest=-1e9, highest=1e9)
    except BadInput as refused:
        assert refused.field == "f"
    else:
        assert value is None or -1e9 <= value <= 1e9


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e6, max_value=1e6))
def test_a_number_written_with_a_comma_is_the_number_written_with_a_point(value: float) -> None:
    written = f"{value:.2f}"
    assert read_number(written.replace(".", ","), field="f", label="V") == float(written)


def test_the_moment_of_a_form_is_the_moment_of_its_entry(manager: Browser, sqlite_engine: Engine) -> None:
    before = datetime.now(UTC)
    manager.submit("/people", TOM)
    with reading(sqlite_engine) as session:
        entry = session.scalars(select(JournalEntry)).one()
        added = session.scalars(select(Person).where(Person.name == "Tom Vale")).one()
        assert before <= entry.at == added.made_at <= datetime.now(UTC)


def test_on_postgresql_too_a_form_sent_at_once_is_recorded_once(built_app: FastAPI, postgresql_engine: Engine) -> None:
    with transaction(postgresql_engine) as session:
        people.add(session, name="manager", role="manager", password_hash=None, at=datetime.now(UTC))
    built_app.state.engine = postgresql_engine
    cookie = token_for(postgresql_engine, "manager")
    answers = at_once(built_app, cookie, 12, "/settings/preferences", {"theme": "dark"})
    assert answers == [(303, "/settings")] * 12
    answers = at_once(built_app, cookie, 4, "/people", TOM)
    assert answers == [(303, "/people")] * 4
    assert count(postgresql_engine, JournalEntry) == 2
    assert count(postgresql_engine, Person) == 2
