"""The journal as JSON: read in pages, verified with printed heads."""

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.record.engine import transaction
from tests.api.caller import Caller
from tests.pages.prepared import shop_on
from tests.record.tampering import unguard


@pytest.fixture
def program(app: FastAPI, sqlite_engine: Engine) -> Caller:
    """A manager's program; a car, its unit, its stock and another car: five entries."""
    with shop_on(sqlite_engine) as shop:
        shop.stock(shop.unit(shop.car()))
        shop.car()
    return Caller(app, sqlite_engine, "manager")


def test_entries_come_newest_first_in_pages(program: Caller) -> None:
    first = program.get("/journal", limit=2).json()
    second = program.get("/journal", limit=3, cursor=first["next_cursor"]).json()
    assert [one["seq"] for one in first["items"] + second["items"]] == [5, 4, 3, 2, 1]
    assert second["next_cursor"] is None
    assert program.get("/journal/4").json() == first["items"][1]
    assert program.get("/journal/6").json()["detail"] == "The journal has no entry 6."
    entry = second["items"][-1]
    assert (entry["action"], entry["person"], entry["vehicle_id"], entry["subject"]) == (
        "register vehicle",
        "Ada Renn",
        1,
        ["vehicle", 1],
    )
    assert entry["at"].endswith("Z")
    assert [one["seq"] for one in program.get("/journal", vehicle_id=2).json()["items"]] == [5]


def test_a_whole_record_verifies_and_its_head_is_an_anchor(program: Caller) -> None:
    found = program.get("/journal/verify").json()
    assert (found["clean"], found["entries"], found["findings"]) == (True, 5, [])
    assert program.get("/journal/verify", anchor=found["head"]).json()["clean"] is True
    assert program.get("/journal/verify", anchor="5-0000000000000000").json()["clean"] is False
    assert program.get("/journal/verify", anchor="five").status_code == 422


def test_an_edit_behind_the_programs_back_is_told(program: Caller, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        unguard(session)
        session.execute(text("update stock_read set file_name = 'other.bin' where id = 1"))
    found = program.get("/journal/verify").json()
    assert found["clean"] is False
    assert found["findings"] == ["stock_read 1: the row differs from what the journal recorded."]
    assert found["sentence"].startswith("1 of 5 journal entries")


def test_only_a_manager_verifies(app: FastAPI, program: Caller, sqlite_engine: Engine) -> None:
    tuner = Caller(app, sqlite_engine, "tuner")
    assert tuner.get("/journal").status_code == 200
    assert tuner.get("/journal/verify").status_code == 403
