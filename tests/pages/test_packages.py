"""A release package from its page to the customer and back, as a browser and a program see it."""

import hashlib
import io
import re
import zipfile
from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from app.actions.decide_revision import decide_revision
from app.record import api_tokens, people
from app.record.engine import transaction
from tests.browser import Browser
from tests.restore_car import CODING, START, TUNED, Car, tuned_car


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> Iterator[Car]:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        made = tuned_car(session, person)
    yield made


@pytest.fixture
def package(car: Car, tuner: Browser, sqlite_engine: Engine) -> str:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        decide_revision(
            session, person=person, at=START, revision_id=car.revision_id, decision="released", legal_basis="Off-road"
        )
    page = tuner.get(f"/revisions/{car.revision_id}/packages").text
    chosen = re.search(r'<option value="(\d+)" selected>\d+ \w+ \d{4}, \d\d:\d\d, after write-back', page)
    assert chosen is not None
    answer = tuner.submit(f"/revisions/{car.revision_id}/packages", {"format": "srec", "coding_snapshot_id": chosen[1]})
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_a_draft_says_why_there_is_no_package(tuner: Browser, car: Car) -> None:
    page = tuner.get(f"/revisions/{car.revision_id}/packages").text
    assert "Revision 1 is not released: release it before a package is handed out." in page
    assert 'name="format"' not in page
    assert tuner.get(f"/revisions/{car.revision_id}/package").status_code == 409


def test_the_download_is_the_archive_that_the_page_names(tuner: Browser, car: Car, package: str) -> None:
    led = tuner.get(f"/revisions/{car.revision_id}/package")
    assert led.headers["location"] == f"{package}/file"
    answer = tuner.get(f"{package}/file")
    assert answer.headers["content-type"] == "application/zip"
    assert hashlib.sha256(answer.content).hexdigest() in tuner.get(package).text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as bag:
        assert bag.namelist() == [
            "README.txt", "manifest.json", "revision-1.srec", "return-form.txt", "coding.json", "SHA256SUMS",
        ]  # fmt: skip


def test_what_comes_back_is_shown_with_its_verdicts(tuner: Browser, car: Car, package: str) -> None:
    answer = tuner.submit(
        f"{package}/returns",
        {
            "outcome": "completed",
            "flashed_at": "2026-05-04T10:30",
            "supply_before": "13,9",
            "supply_lowest": "13.4",
            "faults": "P0171 System too lean bank 1 confirmed",
        },
        files=[
            ("read_back", ("back.bin", TUNED)),
            ("coding", ("coding.csv", CODING)),
            ("logs", ("pull 1.csv", b"rpm;lambda\n3000;0.86\n")),
            ("logs", ("pull 2.csv", b"rpm;lambda\n3000;0.87\n")),
        ],
    )
    assert answer.headers["location"] == f"{package}#returned"
    page = tuner.get(package).text
    assert "coding equal, verified; 1 fault code; 2 logs kept." in page
    logs = re.findall(r'href="(/attachments/\d+)"', page)
    assert tuner.get(logs[0]).content == b"rpm;lambda\n3000;0.86\n"
    assert "verified by read-back" in tuner.get(f"/vehicles/{car.vehicle_id}").text
    assert "Returned for release package 1" in tuner.get(f"/vehicles/{car.vehicle_id}?topic=flashes").text


def test_a_refused_return_keeps_what_was_typed(tuner: Browser, package: str) -> None:
    form = {"outcome": "completed", "supply_before": "139", "remarks": "second attempt"}
    answer = tuner.submit(f"{package}/returns", form, files=[("read_back", ("back.bin", TUNED))])
    assert answer.status_code == 422
    assert "cannot be the supply voltage" in answer.text
    assert "second attempt" in answer.text


def test_the_front_desk_sees_the_package_and_gets_no_image(front_desk: Browser, package: str) -> None:
    assert front_desk.get(package).status_code == 200
    assert front_desk.get(f"{package}/file").status_code == 403


def test_a_program_issues_reads_and_returns(tuner: Browser, car: Car, package: str, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        token = api_tokens.make(session, person_id=person.id, label="test", at=START)[1]
    tuner.cookies.clear()
    headers = {"authorization": f"Bearer {token}"}
    made = tuner.post(
        f"/api/v1/revisions/{car.revision_id}/packages",
        json={"format": "hex", "coding_snapshot_id": car.coding_id},
        headers=headers,
    )
    assert made.status_code == 201
    wrong = tuner.post(
        f"/api/v1/revisions/{car.revision_id}/packages",
        json={"format": "zip", "coding_snapshot_id": car.coding_id},
        headers=headers,
    )
    assert (wrong.status_code, wrong.headers["content-type"]) == (422, "application/problem+json")
    assert "format" in wrong.text
    address = f"/api/v1/release-packages/{made.json()['id']}"
    assert made.json()["image_sha256"] == hashlib.sha256(TUNED).hexdigest()
    data = tuner.get(f"{address}/file", headers=headers).content
    assert hashlib.sha256(data).hexdigest() == made.json()["sha256"]
    taken = tuner.post(
        f"{address}/returns",
        data={"outcome": "completed", "flashed_at": "2026-05-04T10:30:00Z", "supply_lowest_v": "13.2"},
        files=[("read_back", ("back.bin", TUNED))],
        headers=headers,
    )
    assert taken.status_code == 201, taken.text
    assert "lowest supply 13.2 V" in taken.json()["sentence"]
    assert len(tuner.get(address, headers=headers).json()["returns"]) == 1
