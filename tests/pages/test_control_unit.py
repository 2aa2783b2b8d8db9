"""A control unit's page: reads by upload, stock confirmed or refused, downloads that give the bytes back."""

import pytest
from sqlalchemy import Engine

from app.readers.image import read_image, write_image
from tests.browser import Browser
from tests.pages.prepared import content, entries, is_whole, refusal, shop_on
from tests.shop import STOCK, changed


@pytest.fixture
def unit(app: object, sqlite_engine: Engine) -> int:
    with shop_on(sqlite_engine) as shop:
        return shop.unit(shop.car(plate="RL 12-AB"), base_address=0x8000_0000).id


def test_two_equal_reads_confirm_stock_in_whatever_format_they_come(
    tuner: Browser, unit: int, sqlite_engine: Engine
) -> None:
    image = read_image(STOCK, base_address=0x8000_0000).image
    assert tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)}).status_code == 303
    assert "Stock of the engine control unit was read once" in content(tuner.get("/"))
    as_hex = write_image(image, "hex")
    assert tuner.submit("/control-units/1/stock-reads", files={"file": ("b.txt", as_hex)}).status_code == 303
    text = content(tuner.get("/control-units/1"))
    for words in ("Stock, as read twice and found equal.", "Intel HEX", "binary", image.digest, "0x80000000"):
        assert words in text, words
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize("format", ["bin", "hex", "srec"])
def test_stock_leaves_in_every_format_with_the_same_bytes(tuner: Browser, unit: int, format: str) -> None:
    for _ in range(2):
        tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)})
    answer = tuner.get(f"/stocks/1/image?format={format}")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment;")
    again = read_image(answer.content, base_address=0x8000_0000).image
    assert (again.payload, again.spans) == (STOCK, ((0x8000_0000, len(STOCK)),))


def test_a_format_that_is_none_is_refused(tuner: Browser, unit: int) -> None:
    for _ in range(2):
        tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)})
    assert tuner.get("/stocks/1/image?format=zip").status_code == 422
    assert tuner.get("/stocks/9/image").status_code == 404


def test_a_read_that_differs_is_refused_with_its_addresses(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)})
    before = entries(sqlite_engine)
    answer = tuner.submit("/control-units/1/stock-reads", files={"file": ("b.bin", changed(STOCK, 0x10, 0x20))})
    assert answer.status_code == 409
    assert "in 2 bytes, first at 0x80000010" in refusal(answer)
    assert f"0x80000020: {STOCK[0x20]:02X} against {STOCK[0x20] ^ 0xFF:02X}" in content(answer)
    assert entries(sqlite_engine) == before


def test_confirmed_stock_stays_unless_a_new_generation_is_meant(tuner: Browser, unit: int) -> None:
    for _ in range(2):
        tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)})
    update = changed(STOCK, 0x40)
    refused = tuner.submit("/control-units/1/stock-reads", files={"file": ("c.bin", update)})
    assert refused.status_code == 409
    assert "is confirmed already (generation 1" in refusal(refused)
    for _ in range(2):
        taken = tuner.submit(
            "/control-units/1/stock-reads", {"new_generation": "yes"}, files={"file": ("c.bin", update)}
        )
        assert taken.status_code == 303
    assert tuner.get("/stocks/1/image").content == STOCK
    assert tuner.get("/stocks/2/image").content == update


@pytest.mark.parametrize(
    ("file", "status", "sentence"),
    [
        (None, 422, "Choose a file."),
        (("a.bin", b""), 422, "empty"),
        (("a.s19", b"S1130000ZZ"), 422, "line 1"),
        (("a.hex", b":00000001FF\n"), 422, ""),
    ],
)
def test_what_is_no_image_is_refused_with_its_place(
    tuner: Browser, unit: int, sqlite_engine: Engine, file: tuple[str, bytes] | None, status: int, sentence: str
) -> None:
    before = entries(sqlite_engine)
    answer = tuner.submit("/control-units/1/stock-reads", files=None if file is None else {"file": file})
    assert answer.status_code == status
    assert sentence in refusal(answer)
    assert entries(sqlite_engine) == before


def test_the_same_upload_sent_twice_is_one_read(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    """Otherwise one press too many would confirm stock from a single read."""
    before = entries(sqlite_engine)
    for _ in range(2):
        tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)}, key="k" * 24)
    assert entries(sqlite_engine) == before + 1
    assert "stock has been confirmed" in content(tuner.get("/control-units/1"))


def test_cars_with_the_same_stock_are_named(tuner: Browser, unit: int, sqlite_engine: Engine) -> None:
    for _ in range(2):
        tuner.submit("/control-units/1/stock-reads", files={"file": ("a.bin", STOCK)})
    tuner.submit("/vehicles", {"vin": "U9ZSHP2A5K0000099", "make": "Velmora", "model": "Sirrus", "plate": "XY 900"})
    tuner.submit("/vehicles/2/control-units", {"role": "engine", "hardware_number": "H", "base_address": "0x80000000"})
    for _ in range(2):
        tuner.submit("/control-units/2/stock-reads", files={"file": ("a.bin", STOCK)})
    assert "Velmora Sirrus · XY 900" in content(tuner.get("/control-units/1"))
    assert "Same stock as Velmora Sirrus · RL 12-AB" in content(tuner.get("/vehicles/2"))
