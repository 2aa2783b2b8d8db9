"""Programs can rely on it that revisions are logged, read, compared, decided and ported as on screen.

Figures by hand from tests/calibration_car.py: numbers of 0.001 bar.
"""

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.api.caller import Caller
from tests.calibration_car import HIDDEN_RAISED, RAISED, CalibrationCar, calibration_car, image_of
from tests.shop import LAYOUT


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine) -> Caller:
    return Caller(app, sqlite_engine, "tuner")


def test_an_uploaded_image_comes_back_explained(caller: Caller, car: CalibrationCar) -> None:
    answer = caller.upload(
        f"/control-units/{car.unit_id}/revisions",
        image_of((*RAISED[:7], 2000), HIDDEN_RAISED),
        "r.bin",
        title="t",
        purpose="p",
        parent_id=str(car.first),
        fuel_requirement="98 RON",
    )
    assert answer.status_code == 201, answer.text
    found = answer.json()
    assert (found["parent_id"], found["layout_id"], found["fuel_requirement"]) == (car.first, car.layout_id, "98 RON")
    (delta,) = found["deltas"]
    assert (delta["name"], delta["changed"], delta["cells"], delta["unit"]) == ("boost target", 1, 8, "bar")
    assert delta["largest"]["change"] == pytest.approx(0.020)
    assert [place["value"] for place in delta["largest"]["at"]] == [4000.0, 80.0]
    (unexplained,) = found["unexplained_ranges"]
    assert (unexplained["address"], unexplained["length"]) == (0x400, 12)
    assert unexplained["after"] == b"".join(n.to_bytes(2, "big") for n in HIDDEN_RAISED).hex()
    assert [one["state"] for one in found["block_checksums"]] == ["holds"]
    parts = found["explained_bytes"] + found["checksum_bytes"] + found["unexplained_bytes"]
    assert parts == found["changed_bytes"]
    assert caller.get(f"/revisions/{found['id']}").json() == found


def test_an_image_the_unit_had_before_is_kept_and_told(caller: Caller, car: CalibrationCar) -> None:
    path, told = f"/control-units/{car.unit_id}/revisions", {"title": "t", "purpose": "p", "parent_id": str(car.second)}
    stock = caller.upload(path, image_of(), "r.bin", **told)
    again = caller.upload(path, image_of(RAISED), "r.bin", **told)
    assert (stock.status_code, again.status_code) == (201, 201)
    assert "This image is byte for byte that of stock: check that it is the file you meant." in stock.json()["warnings"]
    assert any("that of revision 1 “More boost”: check" in one for one in again.json()["warnings"])
    assert caller.get(f"/revisions/{again.json()['id']}").json()["warnings"] == again.json()["warnings"]


@pytest.mark.parametrize(
    ("base", "key", "sentence"),
    [
        ("parent", "r{first}", "No map changed, 12 bytes unexplained."),
        ("stock", "stock-{stock}", "1 map changed, 12 bytes"),
    ],
)
def test_changes_come_with_all_numbers_from_parent_and_stock(
    caller: Caller, car: CalibrationCar, base: str, key: str, sentence: str
) -> None:
    found = caller.get(f"/revisions/{car.second}/deltas", **{"from": base}).json()
    assert found["from"] == key.format(first=car.first, stock=car.stock_id)
    assert found["sentence"].startswith(sentence)
    if base == "stock":
        (delta,) = found["deltas"]
        assert delta["before"][0] == pytest.approx([1.0, 1.2, 1.4, 1.5])
        assert delta["after"][1] == pytest.approx([1.1, 1.4, 1.87, 1.98])
        assert delta["axes_after"][0]["values"] == [1000, 2000, 3000, 4000]


def test_changes_from_any_other_revision(caller: Caller, car: CalibrationCar) -> None:
    found = caller.get(f"/revisions/{car.third}/deltas", **{"from": str(car.first)}).json()
    assert found["deltas"] == []
    assert [one["state"] for one in found["block_checksums"]] == ["does not hold"]
    assert caller.get(f"/revisions/{car.third}/deltas", **{"from": "yesterday"}).status_code == 422
    assert caller.get(f"/revisions/{car.third}/deltas", **{"from": "99"}).status_code == 404


def test_the_image_leaves_in_its_formats(caller: Caller, car: CalibrationCar) -> None:
    assert caller.get(f"/revisions/{car.first}/image").content == image_of(RAISED)
    assert caller.get(f"/revisions/{car.first}/image", format="hex").content.startswith(b":")
    assert caller.get(f"/revisions/{car.first}/image", format="zip").status_code == 422


def test_a_revision_by_hand_gets_its_changes_afterwards(caller: Caller, car: CalibrationCar) -> None:
    logged = caller.upload(f"/control-units/{car.unit_id}/revisions", b"", "", title="t", purpose="p")
    assert logged.status_code == 201, logged.text
    revision = logged.json()
    assert (revision["kind"], revision["sha256"], revision["deltas"]) == ("by hand", None, [])
    maps = [
        {"name": "spark", "category": "ignition", "unit": "deg", "before": [10, 12.5], "after": [11, 12.5]},
        {"name": "limit", "category": "limiter", "unit": "km/h", "change": 30},
    ]
    entered = caller.post(f"/revisions/{revision['id']}/deltas", {"maps": maps})
    assert entered.status_code == 201, entered.text
    assert entered.json()["sentence"] == "2 maps changed, 1 limiter."
    whole = caller.get(f"/revisions/{revision['id']}/deltas").json()
    assert whole["deltas"][0]["after"] == [11, 12.5]
    assert caller.post(f"/revisions/{car.first}/deltas", {"maps": maps}).status_code == 409
    assert caller.post(f"/revisions/{revision['id']}/deltas", {"maps": [{"name": "m"}]}).status_code == 422


def test_a_decision_is_recorded_or_refused_with_its_field(caller: Caller, car: CalibrationCar) -> None:
    refused = caller.post(f"/revisions/{car.first}/decision", {"decision": "released"})
    assert (refused.status_code, refused.json()["field"]) == (422, "legal_basis")
    taken = caller.post(f"/revisions/{car.first}/decision", {"decision": "released", "legal_basis": "closed course"})
    assert taken.status_code == 201, taken.text
    assert taken.json()["digest"] == caller.get(f"/revisions/{car.first}").json()["sha256"]
    assert caller.get(f"/revisions/{car.first}").json()["decision"] == "released"


def test_a_port_says_what_it_is(caller: Caller, car: CalibrationCar) -> None:
    body = {"target": f"stock-{car.other_stock_id}", "title": "t", "purpose": "p", "mode": "absolute"}
    answer = caller.post(f"/revisions/{car.first}/port", body)
    assert answer.status_code == 201, answer.text
    found = answer.json()
    assert (found["kind"], found["computed_not_validated"], found["ported_from_id"]) == ("ported", True, car.first)
    assert found["port_report"]["maps"][0]["base_differs"] == 1
    assert caller.post(f"/revisions/{car.first}/port", body | {"mode": "magic"}).json()["field"] == "mode"


def test_a_layout_is_added_and_read_with_its_addresses_in_the_image(caller: Caller, car: CalibrationCar) -> None:
    fields = {"name": "Engine 2", "software_number": "SW-2"}
    answer = caller.post("/layouts", data=fields, files={"file": ("l.csv", LAYOUT)})
    assert answer.status_code == 201, answer.text
    added = answer.json()
    assert (added["version"], added["map_count"], added["block_checksum_count"]) == (1, 1, 1)
    whole = caller.get(f"/layouts/{added['id']}").json()
    assert whole["maps"][0]["address"] == 0x100
    assert (whole["maps"][0]["rows"], whole["maps"][0]["columns"]) == (2, 4)
    assert whole["block_checksums"][0]["ranges"] == [[0x100, 0x180]]
    assert whole["volatile_ranges"] == [{"start": 0x190, "end": 0x1A0, "reason": "learned values"}]
    names = [one["name"] for one in caller.get("/layouts").json()["items"]]
    assert names == ["Engine 1", "Engine 2"]
    first = caller.get("/layouts", limit=1).json()
    second = caller.get("/layouts", limit=1, cursor=first["next_cursor"]).json()
    assert [first["items"][0]["name"], second["items"][0]["name"], second["next_cursor"]] == [
        "Engine 1",
        "Engine 2",
        None,
    ]
    assert caller.upload("/layouts", b"not a layout", "l.csv").status_code == 422
