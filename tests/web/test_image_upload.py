"""The workshop can rely on it that nobody's write waits while the server reads somebody's large upload."""

from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.readers.image import ReadImage, read_image
from app.record.engine import transaction
from app.record.tables import ShopSetting
from app.web import image_upload
from tests.api.caller import Caller
from tests.browser import Browser
from tests.calibration_car import RAISED, image_of
from tests.pages.prepared import is_whole, shop_on

TOLD = {"title": "Another", "purpose": "To see what happens."}
# Unit 1 has stock, unit 2 none; flash 1 wrote stock to unit 1.
PLACES = {
    "/control-units/1/revisions": image_of(RAISED),
    "/control-units/2/stock-reads": image_of(),
    "/flashes/1/read-back": image_of(),
}


@pytest.fixture
def read_at_once(app: FastAPI, sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch) -> list[bytes]:
    """A workshop in which someone else writes while an image is being read; what was read so far."""
    with shop_on(sqlite_engine) as shop:
        unit = shop.unit()
        shop.stock(unit, image_of())
        shop.unit()
        shop.flash(unit)
    taken: list[bytes] = []

    def reads(data: bytes, **known: Any) -> ReadImage:
        with transaction(sqlite_engine) as session:
            session.merge(ShopSetting(key="other", value={"writes": len(taken)}))
        taken.append(data)
        return read_image(data, **known)

    monkeypatch.setattr(image_upload, "read_image", reads)
    return taken


@pytest.mark.parametrize("place", PLACES)
def test_others_write_while_a_page_reads_an_image(
    place: str, tuner: Browser, read_at_once: list[bytes], sqlite_engine: Engine
) -> None:
    fields = TOLD if "revisions" in place else {}
    answer = tuner.submit(place, fields, files={"file": ("image.bin", PLACES[place])})
    assert (answer.status_code, read_at_once) == (303, [PLACES[place]])
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize("place", PLACES)
def test_others_write_while_the_interface_to_programs_reads_an_image(
    place: str, app: FastAPI, read_at_once: list[bytes], sqlite_engine: Engine
) -> None:
    fields = TOLD if "revisions" in place else {}
    answer = Caller(app, sqlite_engine, "tuner").upload(place, PLACES[place], "image.bin", **fields)
    assert (answer.status_code, read_at_once) == (201, [PLACES[place]]), answer.text
    assert is_whole(sqlite_engine)


def test_a_unit_that_is_not_there_is_not_found_whatever_the_file(app: FastAPI, sqlite_engine: Engine) -> None:
    answer = Caller(app, sqlite_engine, "tuner").upload("/control-units/9/stock-reads", image_of(), "image.bin")
    assert answer.status_code == 404
