"""Stock reads, flashes and what follows them as JSON: the whole way, and each refusal."""

import hashlib
import zlib

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.pages.prepared import entries, is_whole, shop_on
from tests.shop import STOCK, changed, with_sum

READ = with_sum(STOCK)
TUNED = with_sum(changed(READ, 0x101, 0x700))
CODING = b"module;key;value\nBody;long coding;0A 1F 22\nGateway;installed;01 02\n"


@pytest.fixture
def program(app: FastAPI, sqlite_engine: Engine) -> Caller:
    """A tuner's program; car 1 with control unit 1 and the layout of its software are on record."""
    with shop_on(sqlite_engine) as shop:
        shop.layout()
        shop.unit(shop.car())
    return Caller(app, sqlite_engine, "tuner")


@pytest.fixture
def flashed(program: Caller, sqlite_engine: Engine) -> Caller:
    """The same with stock confirmed, coding kept and stock written once: flash 1, snapshot 1."""
    for _ in range(2):
        program.upload("/control-units/1/stock-reads", READ, "read.bin")
    program.upload("/vehicles/1/coding-snapshots", CODING)
    assert program.post("/control-units/1/flashes", {"supply_before_v": 13.4}).status_code == 201
    return program


def test_two_equal_reads_confirm_stock(program: Caller, sqlite_engine: Engine) -> None:
    first = program.upload("/control-units/1/stock-reads", READ, "read.bin")
    assert first.status_code == 201
    told = first.json()
    assert (told["stock_confirmed"], told["stock_id"], told["generation"]) == (False, None, 1)
    assert told["sha256"] == hashlib.sha256(READ).hexdigest()
    assert told["crc32"] == f"{zlib.crc32(READ):08X}"
    assert (told["size"], told["format"], told["layout_id"]) == (len(READ), "binary", 1)
    assert [one["state"] for one in told["block_checksums"]] == ["holds"]
    differs = program.upload("/control-units/1/stock-reads", changed(READ, 0x10), "read.bin")
    assert differs.status_code == 409
    assert (differs.json()["field"], differs.json()["where"]) == ("file", "address 0x10")
    assert differs.json()["details"] == [f"0x00000010: {READ[0x10]:02X} against {READ[0x10] ^ 0xFF:02X}"]
    second = program.upload("/control-units/1/stock-reads", READ, "again.bin").json()
    assert (second["stock_confirmed"], second["stock_id"]) == (True, 1)
    third = program.upload("/control-units/1/stock-reads", READ)
    assert (third.status_code, third.json()["field"]) == (409, "new_generation")
    update = program.upload("/control-units/1/stock-reads", TUNED, new_generation="true").json()
    assert (update["generation"], update["stock_confirmed"]) == (2, False)
    assert is_whole(sqlite_engine)


def test_the_way_from_the_write_to_the_first_start(flashed: Caller, sqlite_engine: Engine) -> None:
    assert flashed.get("/vehicles/1").json()["coding_pending"] is True
    early = flashed.post("/flashes/1/first-start", {})
    assert (early.status_code, early.json()["title"]) == (409, "Not possible in this state")
    back = flashed.upload("/flashes/1/read-back", READ, "back.bin")
    assert (back.status_code, back.json()["equal"]) == (201, True)
    assert flashed.get("/vehicles/1").json()["on_car_now"][0]["certainty"] == "verified by read-back"
    flashed.upload("/vehicles/1/coding-snapshots", CODING, occasion="after write-back")
    proof = {"wanted_snapshot_id": 1, "read_snapshot_id": 2}
    proven = flashed.post("/flashes/1/coding-write-back", proof)
    assert (proven.status_code, proven.json()["equal"], proven.json()["differences"]) == (201, True, [])
    assert flashed.get("/vehicles/1").json()["coding_pending"] is False
    started = flashed.post("/flashes/1/first-start", {"note": "Oil pressure seen."})
    assert (started.status_code, started.json()["coding_was_pending"]) == (201, False)
    assert flashed.post("/flashes/1/first-start", {}).status_code == 409
    assert is_whole(sqlite_engine)


def test_a_flash_is_read_with_all_that_followed_it(app: FastAPI, flashed: Caller, sqlite_engine: Engine) -> None:
    desk = Caller(app, sqlite_engine, "front_desk")
    bare = desk.get("/flashes/1").json()
    assert (bare["control_unit_id"], bare["stock_id"], bare["revision_id"]) == (1, 1, None)
    assert (bare["outcome"], bare["supply_before_v"], bare["supply_lowest_v"]) == ("completed", 13.4, None)
    assert bare["by"] == "tuner"
    assert (bare["sha256"], bare["coding_pending"]) == (hashlib.sha256(READ).hexdigest(), True)
    assert [one["state"] for one in bare["block_checksums"]] == ["holds"]
    assert bare["read_back"] is bare["coding_write_back"] is bare["first_start"] is None
    flashed.upload("/flashes/1/read-back", changed(READ, 0x10), "back.bin")
    again = flashed.upload("/flashes/1/read-back", READ, "back.bin").json()
    flashed.upload("/vehicles/1/coding-snapshots", CODING, occasion="after write-back")
    proof = flashed.post("/flashes/1/coding-write-back", {"wanted_snapshot_id": 1, "read_snapshot_id": 2}).json()
    started = flashed.post("/flashes/1/first-start", {"note": "Oil pressure seen."}).json()
    whole = desk.get("/flashes/1").json()
    assert (whole["read_back"], whole["coding_write_back"], whole["first_start"]) == (again, proof, started)
    assert (again["equal"], proof["wanted_snapshot_id"], started["note"]) == (True, 1, "Oil pressure seen.")
    assert whole["coding_pending"] is False
    missing = desk.get("/flashes/9")
    assert (missing.status_code, missing.headers["content-type"]) == (404, "application/problem+json")


def test_a_write_at_an_earlier_moment_keeps_both_times(flashed: Caller) -> None:
    answer = flashed.post("/control-units/1/flashes", {"flashed_at": "2026-01-05T10:30:00+02:00"})
    assert answer.status_code == 201
    assert answer.json()["flashed_at"] == "2026-01-05T08:30:00Z"


def test_coding_can_be_waived_with_a_reason(flashed: Caller) -> None:
    short = flashed.post("/flashes/1/coding-write-back", {"waiver_reason": "no"})
    assert (short.status_code, short.json()["field"]) == (422, "reason")
    waived = flashed.post("/flashes/1/coding-write-back", {"waiver_reason": "Written on the bench, car off."})
    assert (waived.status_code, waived.json()["equal"]) == (201, False)
    assert flashed.get("/vehicles/1").json()["coding_pending"] is False


@pytest.mark.parametrize(
    ("address", "body", "status", "field"),
    [
        ("/control-units/1/flashes", {"outcome": "fine"}, 422, "outcome"),
        ("/control-units/1/flashes", {"supply_before_v": "13"}, 422, "supply_before_v"),
        ("/control-units/1/flashes", {"supply_before_v": 600.0}, 422, "supply_before_v"),
        ("/control-units/1/flashes", {"sha256": "deadbeefdeadbeef"}, 422, "sha256"),
        ("/control-units/1/flashes", {"revision_id": 9}, 404, None),
        ("/control-units/1/flashes", {"flashed_at": "yesterday"}, 422, "flashed_at"),
        ("/control-units/1/flashes", {"flashed_at": "2026-01-05T10:30:00"}, 422, "flashed_at"),
        ("/control-units/1/flashes", {"voltage": 13.0}, 422, "voltage"),
        ("/control-units/9/flashes", {}, 404, None),
        ("/flashes/1/coding-write-back", {}, 422, "read_snapshot_id"),
        ("/flashes/1/coding-write-back", {"read_snapshot_id": 1}, 422, "wanted_snapshot_id"),
        ("/flashes/1/coding-write-back", {"wanted_snapshot_id": 1, "read_snapshot_id": 1}, 409, "read_snapshot_id"),
        ("/flashes/1/coding-write-back", {"wanted_snapshot_id": 1, "read_snapshot_id": 9}, 404, None),
        ("/flashes/9/coding-write-back", {"waiver_reason": "Written on the bench."}, 404, None),
        ("/flashes/9/first-start", {}, 404, None),
        ("/flashes/1/first-start", {"happened_anyway": "yes"}, 422, "happened_anyway"),
    ],
)
def test_a_refusal_names_the_field_and_leaves_nothing(
    flashed: Caller, sqlite_engine: Engine, address: str, body: dict[str, object], status: int, field: str | None
) -> None:
    before = entries(sqlite_engine)
    answer = flashed.post(address, body)
    assert answer.status_code == status, answer.text
    assert answer.json().get("field") == field
    assert entries(sqlite_engine) == before


def test_files_that_are_no_image_are_refused_with_their_place(flashed: Caller, sqlite_engine: Engine) -> None:
    before = entries(sqlite_engine)
    for address in ("/control-units/1/stock-reads", "/flashes/1/read-back"):
        broken = flashed.upload(address, b":10000000ZZ\n", "a.hex")
        assert broken.status_code == 422
        assert broken.json()["where"] == "line 1"
        assert flashed.upload(address, b"", "a.bin").status_code == 422
        assert flashed.post(address).status_code == 422
    assert flashed.upload("/control-units/9/stock-reads", READ).status_code == 404
    assert flashed.upload("/flashes/9/read-back", READ).status_code == 404
    assert entries(sqlite_engine) == before


def test_the_front_desks_program_may_not(app: FastAPI, flashed: Caller, sqlite_engine: Engine) -> None:
    desk = Caller(app, sqlite_engine, "front_desk")
    assert desk.post("/control-units/1/flashes", {}).status_code == 403
    assert desk.upload("/control-units/1/stock-reads", READ).status_code == 403
    assert desk.post("/flashes/1/first-start", {"happened_anyway": True}).status_code == 403
