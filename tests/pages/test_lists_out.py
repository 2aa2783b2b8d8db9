"""Lists leave as CSV and JSON with the same content as their pages."""

import csv
import hashlib
import io
from collections.abc import Iterator

import pytest
from fastapi.routing import iter_route_contexts
from sqlalchemy import Engine, func, select

from app.actions.add_layout import add_layout
from app.main import create_app
from app.pages.lists.as_json import SHARED
from app.readers.layout import read_layout
from app.record import people, vehicles
from app.record.engine import reading, transaction
from app.record.tables import Run
from app.settings import Settings
from tests.browser import Browser
from tests.restore_car import START, Car, pull_file, tuned_car


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> Iterator[Car]:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        made = tuned_car(session, person)
        vehicles.vehicle(session, made.vehicle_id).make = '=HYPERLINK("http://x.example")'
    yield made


def table(browser: Browser, address: str) -> list[dict[str, str]]:
    answer = browser.get(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith("attachment")
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline=""), strict=True))


def test_the_cars_leave_with_their_figures_and_no_formula(front_desk: Browser, car: Car) -> None:
    (row,) = table(front_desk, "/vehicles.csv")
    assert row["make"] == '\'=HYPERLINK("http://x.example")'
    assert (row["plate"], row["customer_name"], row["loses_coding"]) == ("EB 18 LNR", "B. Croy", "yes")
    assert table(front_desk, "/vehicles.csv?q=nothing-like-it") == []


def test_the_journal_leaves_whole_and_in_the_order_of_its_page(front_desk: Browser, car: Car) -> None:
    rows = table(front_desk, f"/journal.csv?vehicle_id={car.vehicle_id}")
    entries = front_desk.get(f"/api/v1/journal?vehicle_id={car.vehicle_id}&limit=200").json()["items"]
    assert [(int(r["seq"]), r["sentence"], r["hash"]) for r in rows] == [
        (e["seq"], e["sentence"], e["hash"]) for e in entries
    ]


def test_sessions_revisions_and_faults_leave_with_what_they_say(
    front_desk: Browser, car: Car, sqlite_engine: Engine
) -> None:
    (session,) = table(front_desk, f"/vehicles/{car.vehicle_id}/dyno-sessions.csv")
    with reading(sqlite_engine) as record:
        pulls = record.scalar(select(func.count(Run.id)).where(Run.dyno_session_id == car.baseline_id))
    assert (session["purpose"], int(session["pulls"]), int(session["pulls_included"])) == ("baseline", pulls, pulls)
    (revision,) = table(front_desk, f"/control-units/{car.unit_id}/revisions.csv")
    assert (revision["title"], revision["author"], revision["size_bytes"]) == ("Upper range", "tuner", "8192")
    assert revision["changed"]
    (fault,) = table(front_desk, f"/vehicles/{car.vehicle_id}/fault-scans.csv")
    assert (fault["code"], fault["text"]) == ("P0171", "System too lean bank 1")


def test_strip_runs_trials_and_the_inbox_leave_in_si(front_desk: Browser, tuner: Browser, car: Car) -> None:
    base = f"/vehicles/{car.vehicle_id}"
    for name in ("strip-runs", "economy-trials"):
        assert table(front_desk, f"{base}/{name}.csv") == []
    tuner.submit(f"{base}/strip-runs", {"et_1320ft_s": "13.4", "trap_1320ft_kmh": "168.2", "place": "Old runway"})
    tuner.submit(f"{base}/economy-trials", {"distance": "250", "fuel": "17.5", "conditions": "Motorway"})
    (run,) = table(front_desk, f"{base}/strip-runs.csv")
    assert (run["et_1320ft_s"], run["trap_1320ft_kmh"], run["et_60ft_s"]) == ("13.4", "168.2", "")
    assert (run["place"], run["on_car"]) == ("Old runway", "engine revision 1")
    (trial,) = table(front_desk, f"{base}/economy-trials.csv")
    # 17.5 L over 250 km are 7 L/100 km.
    assert (float(trial["consumption_l_per_100km"]), trial["conditions"]) == (7.0, "Motorway")
    assert table(front_desk, "/inbox.csv") == []
    tuner.submit("/inbox", files=[("files", ("p.csv", pull_file(1.0)))])
    (item,) = table(front_desk, "/inbox.csv")
    assert (item["file_name"], item["pulls"]) == ("p.csv", "1")
    assert "torque_nm" in item["channels"].split()


def test_a_layouts_maps_leave_with_address_and_shape(front_desk: Browser, car: Car, sqlite_engine: Engine) -> None:
    template = front_desk.get("/layouts/template.csv").content.replace(b"\r\n# map", b"\r\nmap")
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        found = read_layout(template)
        layout = add_layout(
            session,
            person=person,
            at=START,
            name="Template",
            definitions=found.layout,
            source=found.source,
            software_number="SW-77A",
            uploaded=template,
            file_name="t.csv",
            findings=found.findings,
        )
        layout_id, count = layout.id, layout.map_count
    rows = table(front_desk, f"/layouts/{layout_id}/maps.csv")
    assert len(rows) == count > 0
    assert {r["name"] for r in rows} == {one.name for one in found.layout.maps}
    first = found.layout.maps[0]
    assert int(rows[0]["address"], 16) == first.address + found.layout.address_base
    (listed,) = table(front_desk, "/layouts.csv")
    assert listed["software_number"] == "SW-77A"


def test_the_json_of_a_page_is_the_apis_answer(front_desk: Browser, car: Car) -> None:
    for address in (f"/vehicles/{car.vehicle_id}", "/vehicles", "/journal", "/dynos"):
        led = front_desk.get(f"{address}.json?limit=3", follow_redirects=True)
        assert led.status_code == 200
        assert led.json() == front_desk.get(f"/api/v1{address}?limit=3").json()


def test_every_address_with_json_has_a_page_and_an_answer_of_the_api() -> None:
    app = create_app(Settings(database_url="sqlite://"))
    paths = {route.path for route in iter_route_contexts(app.routes)}
    for address in SHARED:
        assert {address, address + ".json", "/api/v1" + address} <= paths, address


def test_nobody_reads_a_list_without_signing_in(anonymous: Browser) -> None:
    for address in ("/vehicles.csv", "/journal.csv", "/vehicles.json"):
        assert anonymous.get(address).headers["location"].startswith("/sign-in")


def test_limits_coding_and_attached_files_leave_with_their_units(
    front_desk: Browser, tuner: Browser, car: Car, sqlite_engine: Engine
) -> None:
    base = f"/vehicles/{car.vehicle_id}"
    tuner.submit(f"{base}/limits", {"channel": "lambda_", "bound": "max", "value": "0.88", "severity": "stop"})
    (limit,) = table(front_desk, f"{base}/limits.csv")
    assert (limit["channel"], limit["value"], limit["unit"], limit["state"]) == ("lambda_", "0.88", "λ", "in force")
    snapshots = table(front_desk, f"{base}/coding.csv")
    values = table(front_desk, f"/coding-snapshots/{car.coding_id}.csv")
    assert {"module": "Body", "key": "market", "value": "EU"} in values
    assert {row["id"]: row["values"] for row in snapshots}[str(car.coding_id)] == str(len(values)) == "3"
    assert front_desk.get(f"/coding-snapshots/{car.coding_id}.json").json()["items"] == values
    tuner.submit(f"{base}/files", {"kind": "photo", "note": "@left"}, files=[("file", ("a.txt", b"seen"))])
    (file,) = table(front_desk, f"{base}/files.csv")
    assert (file["file_name"], file["kind"], file["size_bytes"], file["note"]) == ("a.txt", "photo", "4", "'@left")
    assert file["sha256"] == hashlib.sha256(b"seen").hexdigest()


def test_restores_and_reads_leave_as_their_pages_have_them(front_desk: Browser, tuner: Browser, car: Car) -> None:
    answer = tuner.submit(
        f"/vehicles/{car.vehicle_id}/restores",
        {"reason": "Sale of the car", "unit_ids": str(car.unit_id), "margin_percent": "3"},
    )
    assert answer.status_code == 303
    (restore,) = table(front_desk, f"/vehicles/{car.vehicle_id}/restores.csv")
    assert (restore["state"], restore["margin_percent"], restore["opened_by"]) == ("open", "3.0", "tuner")
    reads = table(front_desk, f"/control-units/{car.unit_id}/stock-reads.csv")
    assert len(reads) == 2
    assert len({row["sha256"] for row in reads}) == 1


def test_people_and_customers_leave_for_managers_only(
    manager: Browser, tuner: Browser, front_desk: Browser, car: Car
) -> None:
    assert {row["name"]: row["role"] for row in table(manager, "/people.csv")} == {
        "front_desk": "front_desk", "tuner": "tuner", "manager": "manager"
    }  # fmt: skip
    (customer,) = table(manager, "/customers.csv?q=croy")
    assert customer["name"] == "B. Croy"
    assert customer["cars"].endswith("EB 18 LNR")
    assert table(manager, "/customers.csv?q=nobody-like-it") == []
    for one in (tuner, front_desk):
        for address in ("/people.csv", "/people/tokens.json", "/customers.csv", "/customers.json"):
            assert one.get(address).status_code == 403
