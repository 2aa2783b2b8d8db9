"""A car's details and its customer are changed and erased so that the journal can tell it, and nothing else can."""

import datetime as dt
import json
from dataclasses import replace

import pytest
from sqlalchemy import Engine, LargeBinary, String, cast, func, select
from sqlalchemy.orm import Session

from app.actions.change_customer import change_customer
from app.actions.change_vehicle import change_vehicle
from app.actions.erase_customer import erase_customer
from app.actions.log_flash import NewFlash, log_flash
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.errors import BadInput, Conflict, Forbidden
from app.record import car_state, people, vehicle_details, vehicles
from app.record.engine import reading, transaction
from app.record.tables import Base, Customer, JournalEntry, Person, Vehicle
from app.record.verify import verify
from tests.restore_car import tuned_car

AT = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)
LATER = AT + dt.timedelta(minutes=5)
NAME, CONTACT = "Ottoline Vessmer", "+49 30 5550 1234"


@pytest.fixture
def manager(session: Session) -> Person:
    return people.add(session, name="Mara", role="manager", password_hash=None, at=AT)


@pytest.fixture
def desk(session: Session) -> Person:
    return people.add(session, name="Dora", role="front_desk", password_hash=None, at=AT)


@pytest.fixture
def car(session: Session, manager: Person) -> Vehicle:
    new = NewVehicle(
        "UU9KLN3C60NB00451", "EB 18 LNR", "Tarkess", "Lanner", customer_name=NAME, customer_contact=CONTACT
    )
    return register_vehicle(session, person=manager, at=AT, car=new)


def last(session: Session) -> dict[str, object]:
    row = session.scalars(select(JournalEntry).order_by(JournalEntry.seq.desc()).limit(1)).one()
    found: dict[str, object] = json.loads(row.body)
    return found


def test_the_journal_keeps_before_and_after_of_each_changed_field(session: Session, car: Vehicle, desk: Person) -> None:
    wanted = replace(vehicle_details.of_row(car), plate="KQ 7 RST", rated_power_kw=221.5)
    change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=wanted)
    entry = last(session)
    assert entry["action"] == "change vehicle"
    assert entry["facts"] == {"plate": ["EB 18 LNR", "KQ 7 RST"], "rated_power_kw": [None, 221.5]}
    assert "EB 18 LNR → KQ 7 RST" in str(entry["sentence"])
    assert verify(session).clean


def test_the_search_finds_the_car_by_its_new_plate_and_no_longer_by_the_old(
    session: Session, car: Vehicle, desk: Person
) -> None:
    wanted = replace(vehicle_details.of_row(car), plate="KQ 7 RST")
    change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=wanted)
    assert [found.id for found in vehicles.search(session, "kq7rst")] == [car.id]
    assert vehicles.search(session, "eb18lnr") == []


def test_nothing_is_written_when_nothing_would_change(session: Session, car: Vehicle, desk: Person) -> None:
    before = session.scalar(select(func.count(JournalEntry.seq)))
    with pytest.raises(Conflict):
        change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=vehicle_details.of_row(car))
    assert session.scalar(select(func.count(JournalEntry.seq))) == before


def test_nobody_overwrites_a_change_that_they_did_not_see(session: Session, car: Vehicle, desk: Person) -> None:
    seen = car.changed_at
    first = replace(vehicle_details.of_row(car), model="Lanner 3.6")
    change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=first, seen_at=seen)
    second = replace(vehicle_details.of_row(car), model="Lanner 3.2")
    with pytest.raises(Conflict, match="Somebody else"):
        change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=second, seen_at=seen)


def test_a_vin_is_corrected_only_with_a_reason_by_a_tuner_or_manager(
    session: Session, car: Vehicle, desk: Person, manager: Person
) -> None:
    # The worked example of a check digit in 49 CFR 565.15(c) as many sources repeat it.
    wanted = replace(vehicle_details.of_row(car), vin="1M8GDM9AXKP042788")
    with pytest.raises(Forbidden):
        change_vehicle(session, person=desk, at=LATER, vehicle_id=car.id, wanted=wanted, reason="typing slip")
    with pytest.raises(BadInput, match="why"):
        change_vehicle(session, person=manager, at=LATER, vehicle_id=car.id, wanted=wanted)
    change_vehicle(session, person=manager, at=LATER, vehicle_id=car.id, wanted=wanted, reason="typing slip")
    assert vehicles.by_vin(session, "1M8GDM9AXKP042788") is car
    assert str(last(session)["sentence"]).endswith("Reason: typing slip")


def test_another_cars_vin_is_refused(session: Session, car: Vehicle, manager: Person) -> None:
    other = register_vehicle(
        session, person=manager, at=AT, car=NewVehicle("1M8GDM9AXKP042788", "", "Corvane", "Astrel")
    )
    wanted = replace(vehicle_details.of_row(other), vin=car.vin)
    with pytest.raises(Conflict, match="on record already"):
        change_vehicle(session, person=manager, at=LATER, vehicle_id=other.id, wanted=wanted, reason="slip")


def test_the_coding_interlock_cannot_be_switched_off_while_a_write_back_is_owed(
    session: Session, manager: Person
) -> None:
    car = tuned_car(session, manager)
    vehicle = vehicles.vehicle(session, car.vehicle_id)
    log_flash(
        session,
        person=manager,
        at=LATER,
        control_unit_id=car.unit_id,
        flash=NewFlash(car.revision_id, "completed", 13.6, 13.4),
    )
    wanted = replace(vehicle_details.of_row(vehicle), loses_coding=False)
    with pytest.raises(Conflict, match="still owed"):
        change_vehicle(session, person=manager, at=LATER, vehicle_id=vehicle.id, wanted=wanted, reason="so I think")
    assert vehicle.id in car_state.pending_of(session, [vehicle])


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("fuel", "steam"),
        ("driven_axles", "left"),
        ("plate", "X" * 25),
        ("make", " "),
        ("year", 1492),
        ("rated_power_kw", -1.0),
        ("test_mass_kg", float("inf")),
        ("gear_ratios", (3.6, 0.0)),
        ("tyre", "205/55\x00R16"),
        ("vin", "UU9KLN3C60NB0045O"),
    ],
)
def test_details_that_no_car_has_are_refused_by_field(
    session: Session, car: Vehicle, manager: Person, field: str, value: object
) -> None:
    wanted = replace(vehicle_details.of_row(car), **{field: value})  # type: ignore[arg-type]  # values of mixed types
    with pytest.raises(BadInput) as refused:
        change_vehicle(session, person=manager, at=LATER, vehicle_id=car.id, wanted=wanted, reason="try")
    assert refused.value.field == field


def test_a_car_that_changes_hands_gets_a_customer_of_its_own(session: Session, car: Vehicle, desk: Person) -> None:
    first = car.customer_id
    owner = change_customer(
        session, person=desk, at=LATER, vehicle_id=car.id, name="Ibo Karr", contact="", another=True
    )
    assert owner.id != first
    assert car.customer_id == owner.id
    assert [found.id for found in vehicles.search(session, "karr")] == [car.id]
    assert vehicles.search(session, "vessmer") == []


def everywhere(session: Session, needle: str) -> list[str]:
    """Tables and columns in which a text stands, in any row; blobs apart."""
    found = []
    for table in Base.metadata.sorted_tables:
        for column in table.columns:
            query = select(func.count()).select_from(table).where(cast(column, String).like(f"%{needle}%"))
            if not isinstance(column.type, LargeBinary) and session.scalar(query):
                found.append(f"{table.name}.{column.name}")
    return found


def test_erased_data_stand_nowhere_in_the_record_and_the_history_stays_whole(
    session: Session, car: Vehicle, manager: Person
) -> None:
    change_customer(session, person=manager, at=LATER, vehicle_id=car.id, name=NAME, contact="otto@vessmer.example")
    assert set(everywhere(session, "vessmer")) >= {"customer.contact", "vehicle.search_text"}
    assert "customer.name" in everywhere(session, "Vessmer")
    assert car.customer_id is not None
    erase_customer(session, person=manager, at=LATER, customer_id=car.customer_id)
    for needle in ("Vessmer", "vessmer", "Ottoline", "5550"):
        assert everywhere(session, needle) == []
    assert verify(session).clean
    assert session.scalar(select(func.count(JournalEntry.seq)).where(JournalEntry.vehicle_id == car.id)) == 3
    with pytest.raises(Conflict):
        erase_customer(session, person=manager, at=LATER, customer_id=car.customer_id)


def test_only_a_manager_erases(session: Session, car: Vehicle, desk: Person) -> None:
    assert car.customer_id is not None
    with pytest.raises(Forbidden):
        erase_customer(session, person=desk, at=LATER, customer_id=car.customer_id)


def test_the_look_into_every_column_sees_what_is_there(session: Session, car: Vehicle) -> None:
    assert "vehicle.plate" in everywhere(session, "EB 18 LNR")
    assert session.scalar(select(cast(Customer.name, String))) == NAME


def test_both_databases_keep_the_moment_of_the_change_to_the_microsecond(engine: Engine) -> None:
    """The form carries it as text; a moment that came back rounded would refuse every change."""
    at = dt.datetime(2026, 11, 25, 9, 0, 0, 123456, tzinfo=dt.UTC)
    with transaction(engine) as session:
        person = people.add(session, name="Mara", role="manager", password_hash=None, at=at)
        new = NewVehicle("UU9KLN3C60NB00451", "EB 18 LNR", "Tarkess", "Lanner")
        vehicle_id = register_vehicle(session, person=person, at=at, car=new).id
    with reading(engine) as session:
        assert dt.datetime.fromisoformat(vehicles.vehicle(session, vehicle_id).changed_at.isoformat()) == at
