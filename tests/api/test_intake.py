"""Identity checks, fault scans and coding snapshots as JSON."""

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.pages.prepared import entries, is_whole, shop_on

CODING = b"module;key;value\nBody;long coding;0A 1F 22\nGateway;installed;01 02\n"


@pytest.fixture
def program(app: FastAPI, sqlite_engine: Engine) -> Caller:
    """A tuner's program; car 1 with control unit 1 is on record."""
    with shop_on(sqlite_engine) as shop:
        shop.unit(shop.car(), calibration_ids=("CAL-1",), cvns=("0000BEEF",))
    return Caller(app, sqlite_engine, "tuner")


def test_numbers_are_compared_field_by_field(program: Caller, sqlite_engine: Engine) -> None:
    same = {"hardware_number": "hw-engine", "software_number": "SW-engine-1", "cvns": ["beef"]}
    answer = program.post("/control-units/1/identity-checks", same | {"calibration_ids": ["CAL-1"]})
    assert answer.status_code == 201
    assert answer.json()["matches"] is True
    assert {one["name"]: one["verdict"] for one in answer.json()["fields"]} == {
        "hardware number": "match",
        "software number": "match",
        "calibration ID": "match",
        "CVN": "match",
    }
    other = program.post("/control-units/1/identity-checks", same | {"software_number": "SW-dealer"}).json()
    assert other["matches"] is False
    assert "Differs: software number." in other["sentence"]
    assert program.get(f"/identity-checks/{other['id']}").json() == other
    assert program.get("/identity-checks/9").status_code == 404
    assert is_whole(sqlite_engine)


@pytest.mark.parametrize(
    ("address", "body", "status"),
    [
        ("/control-units/1/identity-checks", {}, 422),
        ("/control-units/1/identity-checks", {"cvns": "beef"}, 422),
        ("/control-units/1/identity-checks", {"plate": "x"}, 422),
        ("/control-units/9/identity-checks", {"hardware_number": "H"}, 404),
        ("/vehicles/1/fault-scans", {"text": "The engine runs rough."}, 422),
        ("/vehicles/1/fault-scans", {}, 422),
        ("/vehicles/9/fault-scans", {"text": "P0301 misfire"}, 404),
    ],
)
def test_what_cannot_be_used_is_a_problem_and_leaves_nothing(
    program: Caller, sqlite_engine: Engine, address: str, body: dict[str, object], status: int
) -> None:
    before = entries(sqlite_engine)
    answer = program.post(address, body)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert entries(sqlite_engine) == before


def test_a_fault_list_is_read_as_a_scan_tool_prints_it(program: Caller) -> None:
    answer = program.post("/vehicles/1/fault-scans", {"text": "Engine\nP0301-00 Cylinder 1 misfire - confirmed\n"})
    assert answer.status_code == 201
    (fault,) = answer.json()["faults"]
    assert (fault["code"], fault["failure_type"]) == ("P0301", "00")
    assert "Cylinder 1 misfire" in fault["text"]
    none = program.post("/vehicles/1/fault-scans", {"text": "No faults stored.", "occasion": "after clearing"})
    assert (none.json()["faults"], none.json()["occasion"]) == ([], "after clearing")


def test_coding_is_kept_and_compared(program: Caller, sqlite_engine: Engine) -> None:
    first = program.upload("/vehicles/1/coding-snapshots", CODING, "coding.csv")
    assert first.status_code == 201
    assert (first.json()["modules"], first.json()["keys"]) == (2, 2)
    later = CODING.replace(b"22", b"23").replace(b"Gateway;installed;01 02\n", b"Gauges;variant;03\n")
    second = program.upload("/vehicles/1/coding-snapshots", later, occasion="later").json()
    found = program.get(f"/coding-snapshots/{first.json()['id']}/compare/{second['id']}").json()
    assert found["equal"] is False
    assert {(one["module"], one["key"], one["kind"]) for one in found["changes"]} == {
        ("Body", "long coding", "changed"),
        ("Gateway", "installed", "removed"),
        ("Gauges", "variant", "added"),
    }
    assert program.get("/coding-snapshots/1/compare/99").status_code == 404
    refused = program.upload("/vehicles/1/coding-snapshots", b"Body;long coding\n")
    assert refused.status_code == 422
    assert is_whole(sqlite_engine)
