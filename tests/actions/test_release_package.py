"""A released revision leaves as one package, and what the customer sends back is judged against it."""

import datetime as dt
import hashlib
import io
import json
import zipfile
from dataclasses import replace

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.actions.change_vehicle import change_vehicle
from app.actions.decide_revision import decide_revision
from app.actions.issue_release_package import issue_release_package
from app.actions.take_returned_files import Named, Returned, take_returned_files
from app.errors import AppError, BadInput, Conflict
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.readers.image import read_image
from app.record import car_state, content, packages, people, vehicle_details, vehicles
from app.record.flash_log import NewFlash
from app.record.tables import Flash, JournalEntry, Person, ReleasePackage
from app.record.verify import verify
from tests.restore_car import CODING, OTHER_CODING, STOCK, TUNED, Car, tuned_car

AT = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)
LATER = AT + dt.timedelta(days=2)


@pytest.fixture
def person(session: Session) -> Person:
    return people.add(session, name="Tom", role="tuner", password_hash=None, at=AT)


@pytest.fixture
def car(session: Session, person: Person) -> Car:
    return tuned_car(session, person)


@pytest.fixture
def released(session: Session, person: Person, car: Car) -> Car:
    decide_revision(
        session, person=person, at=AT, revision_id=car.revision_id, decision="released", legal_basis="Off-road use"
    )
    return car


def issue(session: Session, person: Person, car: Car, format: str = "bin") -> ReleasePackage:
    return issue_release_package(
        session, person=person, at=AT, revision_id=car.revision_id, format=format, coding_snapshot_id=car.coding_id
    )


def files_of(session: Session, package: ReleasePackage) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content.fetch(session, package.sha256))) as bag:
        return {name: bag.read(name) for name in bag.namelist()}


def test_the_package_holds_the_image_its_digests_and_the_coding_to_write_back(
    session: Session, person: Person, released: Car
) -> None:
    files = files_of(session, issue(session, person, released))
    told = json.loads(files["manifest.json"])
    assert files["revision-1.bin"] == TUNED
    assert told["image"]["sha256"] == hashlib.sha256(TUNED).hexdigest()
    assert told["image"]["spans"] == [{"address": "0x8000", "length_bytes": 8192}]
    assert told["vehicle"]["vin"] == vehicles.vehicle(session, released.vehicle_id).vin
    assert told["control_unit"]["hardware_number"] == "HW-2204"
    assert told["revision"]["legal_basis"] == "Off-road use"
    assert told["requirements"]["fuel"] == ""
    assert "Air filter, panel type" in told["requirements"]["hardware"]
    assert (
        read_coding(files["coding.json"]).digest == read_coding(CODING).digest == told["coding"]["snapshot"]["digest"]
    )
    sums = dict(reversed(line.split("  ")) for line in files["SHA256SUMS"].decode().splitlines())
    assert sums == {n: hashlib.sha256(d).hexdigest() for n, d in files.items() if n != "SHA256SUMS"}


@pytest.mark.parametrize("format", ["hex", "srec"])
def test_other_formats_carry_the_same_bytes_at_the_same_addresses(
    session: Session, person: Person, released: Car, format: str
) -> None:
    files = files_of(session, issue(session, person, released, format))
    read = read_image(files[f"revision-1.{format}"])
    assert (read.image.payload, read.image.spans) == (TUNED, ((0x8000, 8192),))


def test_the_plain_words_say_the_order_and_name_nobody(session: Session, person: Person, released: Car) -> None:
    files = files_of(session, issue(session, person, released))
    words = files["README.txt"].decode()
    flat = " ".join(words.split())
    before, _, after = flat.partition("BEFORE THE ENGINE IS FIRST STARTED")
    assert "Connect a stable supply" in before
    assert "Read the control unit back" in before
    assert "Clear the fault codes" in after
    assert "local law" in flat
    assert "12.5 V" in flat
    assert "Addresses: 0x8000 to 0x9FFF" in flat
    assert max(len(line) for line in words.splitlines()) <= 100
    whole = b"".join(files.values()).decode("latin-1")
    assert "Croy" not in whole and "EB 18 LNR" not in whole


def test_the_same_release_gives_the_same_bytes(session: Session, person: Person, released: Car) -> None:
    first = issue(session, person, released)
    second = issue_release_package(
        session,
        person=person,
        at=LATER,
        revision_id=released.revision_id,
        format="bin",
        coding_snapshot_id=released.coding_id,
        note="sent again",
    )
    assert first.sha256 == second.sha256
    assert verify(session).clean


def test_nothing_leaves_that_is_not_released(session: Session, person: Person, car: Car) -> None:
    with pytest.raises(Conflict, match="not released"):
        issue(session, person, car)
    decide_revision(
        session, person=person, at=AT, revision_id=car.revision_id, decision="released", legal_basis="Off-road use"
    )
    decide_revision(
        session, person=person, at=AT, revision_id=car.revision_id, decision="withdrawn", reason="knocks when hot"
    )
    with pytest.raises(Conflict, match="withdrawn"):
        issue(session, person, car)


def test_a_car_that_loses_its_coding_gets_no_package_without_it(
    session: Session, person: Person, released: Car
) -> None:
    def without() -> ReleasePackage:
        return issue_release_package(
            session,
            person=person,
            at=AT,
            revision_id=released.revision_id,
            format="bin",
            coding_snapshot_id=None,
        )

    with pytest.raises(Conflict, match="loses its option coding"):
        without()
    known = vehicle_details.of_row(vehicles.vehicle(session, released.vehicle_id))
    change_vehicle(
        session,
        person=person,
        at=AT,
        vehicle_id=released.vehicle_id,
        wanted=replace(known, loses_coding=False),
        reason="tried twice, coding stayed",
    )
    files = files_of(session, without())
    assert "coding.json" not in files
    assert "option coding" not in files["README.txt"].decode()


def test_the_coding_suggested_is_the_newest_that_was_read_while_none_was_owed(
    session: Session, person: Person, released: Car
) -> None:
    suggested = packages.suggested_coding(session, released.vehicle_id)
    assert suggested is not None
    assert suggested.occasion == "after write-back"
    package = issue(session, person, released)
    back(session, person, package, coding=OTHER_CODING)
    still = packages.suggested_coding(session, released.vehicle_id)
    assert still is not None
    assert still.id == suggested.id


def back(
    session: Session,
    person: Person,
    package: ReleasePackage,
    *,
    image: bytes | None = TUNED,
    coding: bytes | None = CODING,
    outcome: str = "completed",
) -> str:
    revision_id = package.revision_id
    returned = Returned(
        flash=NewFlash(revision_id, outcome, 13.9, 13.4, flashed_at=AT + dt.timedelta(days=1)),
        read_back=None if image is None else (read_image(image, base_address=0x8000), Named(image, "back.bin")),
        coding=None if coding is None else (read_coding(coding), Named(coding, "coding.csv")),
        faults=(read_fault_list("No faults stored.\n"), "No faults stored.\n"),
        logs=(Named(b"rpm;lambda\n3000;0.86\n", "pull.csv"),),
    )
    row = take_returned_files(session, person=person, at=LATER, package_id=package.id, returned=returned)
    return row.sentence


def test_equal_files_prove_what_is_on_the_car_and_close_the_coding(
    session: Session, person: Person, released: Car
) -> None:
    said = back(session, person, issue(session, person, released))
    assert "coding equal, verified" in said
    assert "0 fault codes; 1 log kept" in said
    state = car_state.on_units(session, [released.unit_id])[released.unit_id]
    assert (state.revision_id, state.certainty) == (released.revision_id, "verified by read-back")
    assert car_state.pending_of(session, [vehicles.vehicle(session, released.vehicle_id)]) == {}
    assert verify(session).clean


def test_a_read_back_of_another_image_and_other_coding_are_told(
    session: Session, person: Person, released: Car
) -> None:
    said = back(session, person, issue(session, person, released), image=STOCK, coding=OTHER_CODING)
    assert "64 of 8,192 compared bytes differ from revision 1" in said
    assert "coding: 1 value differs, still owed" in said
    vehicle = vehicles.vehicle(session, released.vehicle_id)
    assert vehicle.id in car_state.pending_of(session, [vehicle])
    assert car_state.on_units(session, [released.unit_id])[released.unit_id].kind == "unknown"


def test_files_that_come_later_join_the_write_on_record(session: Session, person: Person, released: Car) -> None:
    package = issue(session, person, released)
    back(session, person, package, image=None, coding=None)
    flashes = session.scalar(select(func.count(Flash.id)))
    later = Returned(read_back=(read_image(TUNED, base_address=0x8000), Named(TUNED, "back.bin")))
    row = take_returned_files(session, person=person, at=LATER, package_id=package.id, returned=later)
    assert row.sentence.startswith("Read-back: ")
    assert session.scalar(select(func.count(Flash.id))) == flashes
    assert len(packages.returns(session, package.id)) == 2


@pytest.mark.parametrize(
    ("returned", "sentence"),
    [
        (Returned(), "Say how the write ended"),
        (Returned(logs=(Named(b"x", "a.csv"),)), "Say how the write ended"),
    ],
)
def test_files_without_a_write_are_refused(
    session: Session, person: Person, released: Car, returned: Returned, sentence: str
) -> None:
    package = issue(session, person, released)
    with pytest.raises(BadInput, match=sentence):
        take_returned_files(session, person=person, at=LATER, package_id=package.id, returned=returned)


def test_a_refused_return_leaves_nothing_behind(session: Session, person: Person, released: Car) -> None:
    package = issue(session, person, released)
    entries = session.scalar(select(func.count(JournalEntry.seq)))
    with pytest.raises(AppError), session.begin_nested():
        back(session, person, package, outcome="failed")
    assert session.scalar(select(func.count(JournalEntry.seq))) == entries
    assert packages.returns(session, package.id) == []
    assert verify(session).clean
