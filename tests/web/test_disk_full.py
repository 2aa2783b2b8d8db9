"""The disk is full: the page says so, nothing is saved, reading works, and with space again so does writing.

SQLite's own quota, `PRAGMA max_page_count`, stands for the disk: it fails a write with the same SQLITE_FULL.
"""

from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event

from tests.api.caller import Caller
from tests.browser import Browser
from tests.pages.prepared import content, entries, is_whole, shop_on
from tests.shop import STOCK, image_bytes

BIG = image_bytes(5, 256 << 10)


class Disk:
    """The space that the database may take, for every connection from now on."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.pages = 1 << 30
        event.listen(engine, "connect", self._limit)

    def _limit(self, connection: Any, _record: Any) -> None:
        connection.execute(f"pragma max_page_count = {self.pages}")

    def fill(self) -> None:
        """No page more than there are."""
        with self.engine.connect() as connection:
            self.pages = int(connection.exec_driver_sql("pragma page_count").scalar_one())
        self.engine.dispose()

    def free(self) -> None:
        self.pages = 1 << 30
        self.engine.dispose()


@pytest.fixture
def disk(app: object, sqlite_engine: Engine) -> Disk:
    with shop_on(sqlite_engine) as shop:
        unit = shop.unit(shop.car())
        shop.read(unit, STOCK)
    return Disk(sqlite_engine)


def test_a_full_disk_is_said_plainly_and_nothing_is_saved(tuner: Browser, disk: Disk, sqlite_engine: Engine) -> None:
    tuner.get("/")  # the browser was seen: the next request need not write that
    before = entries(sqlite_engine)
    disk.fill()
    files = {"file": ("signed.pdf", BIG)}
    answer = tuner.submit("/vehicles/1/files", {"kind": "photo"}, files=files)
    assert answer.status_code == 507
    assert "The disk is full: nothing was saved. Free some space and send it again." in content(answer)
    assert "QLITE" not in answer.text
    assert entries(sqlite_engine) == before
    assert "Velmora Sirrus" in content(tuner.get("/vehicles/1"))
    disk.free()
    assert tuner.submit("/vehicles/1/files", {"kind": "photo"}, files=files).status_code == 303
    assert entries(sqlite_engine) == before + 1
    assert is_whole(sqlite_engine)


def test_a_program_is_told_the_same(app: FastAPI, disk: Disk, sqlite_engine: Engine) -> None:
    program = Caller(app, sqlite_engine, "tuner")
    values = b"".join(b"Body;key %d;%s\n" % (n, image_bytes(n, 16).hex().encode()) for n in range(3000))
    disk.fill()
    answer = program.upload("/vehicles/1/coding-snapshots", b"module;key;value\n" + values)
    assert answer.status_code == 507
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["title"] == "Nothing was saved"
    disk.free()
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize("spare", [0, 1, 2, 5, 10, 20, 40])
def test_with_any_space_left_an_upload_is_saved_whole_or_not_at_all(
    tuner: Browser, disk: Disk, sqlite_engine: Engine, spare: int
) -> None:
    tuner.get("/")
    before = entries(sqlite_engine)
    disk.fill()
    disk.pages += spare
    answers = [
        tuner.submit("/vehicles/1/files", {"kind": "photo"}, files={"file": (f"{n}.jpg", image_bytes(n, 24 << 10))})
        for n in range(8)
    ]
    assert {one.status_code for one in answers} <= {303, 507}
    assert 507 in {one.status_code for one in answers}
    saved = sum(one.status_code == 303 for one in answers)
    disk.free()
    assert entries(sqlite_engine) == before + saved
    assert is_whole(sqlite_engine)
