"""A vehicle's record goes from one database to another whole: from SQLite to PostgreSQL and back, digests equal."""

import datetime as dt
import json
import shutil
from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from app.actions.take_in_vehicle import TakenIn, take_in_vehicle
from app.errors import AppError, Conflict, Damaged
from app.record import attention, car_state, content, people, restores, timeline, vehicles
from app.record.bag.collect import collect
from app.record.bag.document import VehicleRecord, from_json, to_json
from app.record.bag.scope import CLASSES, IN_ORDER, OWNED, SHARED
from app.record.engine import make_engine, reading, transaction
from app.record.tables import Base, Flash, JournalEntry, Layout, MapDelta, Person, RestoreStep, Revision, Run, Vehicle
from app.record.verify import verify
from tests.record.every_row import fill
from tests.restore_car import Work, opened, tuned_car
from tests.shop import Shop

AT = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)
Engines = tuple[Engine, Engine]

# Tables whose rows belong to no vehicle.
OTHERS = {
    "person", "sign_in", "one_time_key", "api_token", "form_key", "shop_setting", "content", "journal_entry",
}  # fmt: skip


@pytest.fixture(params=["from SQLite to PostgreSQL", "from PostgreSQL to SQLite"])
def engines(request: pytest.FixtureRequest, sqlite_engine: Engine, postgresql_engine: Engine) -> Engines:
    pair = (sqlite_engine, postgresql_engine)
    return pair if request.param == "from SQLite to PostgreSQL" else pair[::-1]


def sent(engine: Engine, make: Callable[[Session], int]) -> tuple[VehicleRecord, dict[str, bytes]]:
    """The record of a car that `make` puts on record, through its JSON text, and its files."""
    with transaction(engine) as session:
        vehicle_id = make(session)
    with reading(engine) as session:
        record = collect(session, vehicle_id, at=AT)
        files = {digest: content.fetch(session, digest) for digest in record.content}
    return from_json(to_json(record)), files


def story(session: Session) -> int:
    return fill(Shop(session)).id


def take(engine: Engine, record: VehicleRecord, files: dict[str, bytes]) -> TakenIn:
    with transaction(engine) as session:
        person = people.by_name(session, "Mara") or people.add(
            session, name="Mara", role="manager", password_hash=None, at=AT
        )
        return take_in_vehicle(
            session, person=person, at=AT, record=record, fetch=files.__getitem__, manifest_digest="0" * 64
        )


def test_every_table_is_the_vehicles_or_known_to_be_nobodys() -> None:
    """A new table must be put in a bag or named here."""
    assert {table.name for table in Base.metadata.sorted_tables} == {*CLASSES, *OTHERS}


def test_every_row_arrives_and_the_record_there_holds(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    assert set(record.tables) >= {str(kind.__tablename__) for kind in OWNED}
    # Rows of another car on record there already: ids must differ from those of the source.
    with transaction(target) as session:
        shop = Shop(session)
        shop.stock(shop.unit(shop.car(vin="U9ZSHP2A5K7777777")))
    taken = take(target, record, files)
    with reading(target) as session:
        assert verify(session).clean, verify(session).findings
        again = collect(session, taken.vehicle.id, at=AT)
    assert {name: len(rows) for name, rows in again.tables.items()} == {
        name: len(rows) for name, rows in record.tables.items()
    }
    assert again.content == record.content


def facts(engine: Engine, vin: str) -> dict[str, object]:
    """What people and programs are told of a car, apart from ids."""
    with reading(engine) as session:
        vehicle = vehicles.by_vin(session, vin)
        assert vehicle is not None
        units = vehicles.control_units(session, vehicle.id)
        ids = [unit.id for unit in units]
        states = car_state.on_units(session, ids)
        revisions = session.scalars(select(Revision).where(Revision.control_unit_id.in_(ids)).order_by(Revision.id))
        runs = session.scalars(select(Run).order_by(Run.id)).all()
        deltas = session.scalars(select(MapDelta).order_by(MapDelta.id)).all()
        return {
            "on now": [(states[unit.id].kind, states[unit.id].sentence) for unit in units],
            "pending": car_state.pending_of(session, [vehicle]) != {},
            "attention": [(one.severity, one.sentence) for one in attention.of_vehicles(session, [vehicle])],
            "revisions": [(row.number, row.title, row.sha256, row.crc32, row.spans, row.at) for row in revisions],
            "runs": [(row.sha256, row.channels) for row in runs if row.dyno_session_id],
            "deltas": [(row.name, row.data, row.summary) for row in deltas],
            "history": [(one.at, one.sentence) for one in timeline.of_vehicle(session, vehicle.id, limit=500)],
            "customer": getattr(vehicles.customer(session, vehicle.customer_id), "name", None),
            "found by customer": [one.vin for one in vehicles.search(session, "halle")],
        }


def test_the_car_tells_the_same_there_as_here(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    vin = str(record.rows("vehicle")[0]["vin"])
    take(target, record, files)
    here, there = facts(source, vin), facts(target, vin)
    arrival, *history = there["history"]  # type: ignore[misc]  # a list, as facts makes it
    assert arrival[1].startswith("Velmora Sirrus, VIN")
    # The rows of a restore in that story were written under an entry that names no vehicle.
    assert [one for one in history if one[1] != "Restore 1 opened."] == here["history"]
    assert {**there, "history": None} == {**here, "history": None}
    assert here["found by customer"] == [vin]


def test_a_restore_goes_on_where_it_stood(engines: Engines) -> None:
    """Its plan and evidence name control units and rows by id, inside JSON."""
    source, target = engines

    def half_done(session: Session) -> int:
        person = people.add(session, name="Tom", role="tuner", password_hash=None, at=AT)
        car = tuned_car(session, person)
        Work(session, person, car, opened(session, person, car)).through("read_back")
        return car.vehicle_id

    record, files = sent(source, half_done)
    with transaction(target) as session:
        shop = Shop(session)
        for number in range(3):  # shifts the ids of control units
            shop.unit(shop.car(vin=f"U9ZSHP2A5K555555{number}"))
    taken = take(target, record, files)
    with transaction(target) as session:
        (case,) = restores.of_vehicle(session, taken.vehicle.id)
        (unit,) = vehicles.control_units(session, taken.vehicle.id)
        assert case.unit_ids == (unit.id,)
        flash_id = case.kept(f"flash.{unit.id}", "flash_id")
        assert session.get_one(Flash, flash_id).control_unit_id == unit.id
        steps = session.scalars(select(RestoreStep).where(RestoreStep.restore_id == case.restore.id)).all()
        assert {one.key for one in steps} <= {step.key for step in case.plan.steps}
        assert case.state(f"read_back.{unit.id}").state == "done"


def test_who_did_it_is_named_and_can_not_sign_in(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    taken = take(target, record, files)
    with reading(target) as session:
        person = people.by_name(session, f"Ada Renn ({record.workshop})")
        assert person is not None
        assert not person.active and person.password_hash is None
        assert {row.by_id for row in session.scalars(select(Revision))} == {person.id}
        happened = timeline.of_vehicle(session, taken.vehicle.id, limit=500)
        assert {one.person for one in happened[1:]} == {"Ada Renn, elsewhere"}
        writers = set(
            session.scalars(select(JournalEntry.person_id).where(JournalEntry.vehicle_id == taken.vehicle.id))
        )
        mara = people.by_name(session, "Mara")
        assert mara is not None and writers == {mara.id}


def test_an_entry_keeps_its_number_moment_and_hash_of_the_source(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    taken = take(target, record, files)
    with reading(target) as session:
        query = select(JournalEntry.body).where(JournalEntry.vehicle_id == taken.vehicle.id).order_by(JournalEntry.seq)
        origins = [json.loads(body)["facts"].get("taken_in") for body in session.scalars(query)]
    told = [(one["seq"], one["at"], one["hash"]) for one in origins if one is not None]
    wanted = [(one.seq, one.at, one.hash) for one in record.journal if one.vehicle_id == record.vehicle_id]
    assert [one for one in told if one in wanted] == wanted


def test_a_layout_that_is_there_already_is_used_again(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    with transaction(target) as session:
        Shop(session).layout()
    take(target, record, files)
    with reading(target) as session:
        assert session.scalar(select(func.count(Layout.id))) == 1


def test_a_vehicle_is_taken_in_once(engines: Engines) -> None:
    source, target = engines
    record, files = sent(source, story)
    take(target, record, files)
    with pytest.raises(Conflict, match="on record already"):
        take(target, record, files)
    with pytest.raises(Conflict, match="on record already"):
        take(source, record, files)


def test_without_the_customer_no_name_leaves(engines: Engines) -> None:
    source, target = engines
    with transaction(source) as session:
        vehicle_id = story(session)
    with reading(source) as session:
        record = collect(session, vehicle_id, at=AT, with_customer=False)
        files = {digest: content.fetch(session, digest) for digest in record.content}
    assert b"Halle" not in to_json(record) and b"halle" not in to_json(record)
    taken = take(target, from_json(to_json(record)), files)
    assert taken.vehicle.customer_id is None


def tampered(record: VehicleRecord, table: str, **changed: object) -> VehicleRecord:
    rows = [dict(row) for row in record.rows(table)]
    rows[0] |= changed
    return replace(record, tables={**record.tables, table: rows})


@pytest.fixture(scope="module")
def packed(sqlite_template: object, tmp_path_factory: pytest.TempPathFactory) -> tuple[VehicleRecord, dict[str, bytes]]:
    file = tmp_path_factory.mktemp("bag") / "source.db"
    shutil.copyfile(str(sqlite_template), file)
    engine = make_engine(f"sqlite:///{file}")
    found = sent(engine, story)
    engine.dispose()
    return found


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda r: tampered(r, "flash", supply_before_v=14.4), "flash 1: the row differs"),
        (lambda r: tampered(r, "map_delta", data="AAAA"), "map_delta 1: the row differs"),
        (lambda r: tampered(r, "revision_decision", id=77), "revision_decision 77: no journal entry"),
        (lambda r: replace(r, tables={**r.tables, "read_back": ()}), "read_back 1: the journal speaks of this row"),
        (
            lambda r: replace(r, journal=(replace(r.journal[0], body=r.journal[0].body + " "), *r.journal[1:])),
            "was changed: its hash",
        ),
        (lambda r: replace(r, journal=r.journal[::-1]), "stands in no order"),
        (lambda r: replace(r, journal=r.journal[:-2]), "no journal entry in the bag speaks"),
        (lambda r: replace(r, vehicle_id=99), "exactly one vehicle"),
    ],
)
def test_a_record_that_was_changed_is_refused_and_nothing_is_written(
    sqlite_engine: Engine,
    packed: tuple[VehicleRecord, dict[str, bytes]],
    change: Callable[[VehicleRecord], VehicleRecord],
    sentence: str,
) -> None:
    record, files = packed
    with pytest.raises(AppError, match=sentence):
        take(sqlite_engine, change(record), files)
    with reading(sqlite_engine) as session:
        assert session.scalar(select(func.count(Vehicle.id))) == 0
        assert session.scalar(select(func.count(Person.id))) == 0


def test_a_file_that_is_another_one_is_refused(
    sqlite_engine: Engine, packed: tuple[VehicleRecord, dict[str, bytes]]
) -> None:
    record, files = packed
    swapped = dict.fromkeys(files, files[record.content[0]])
    with pytest.raises(Damaged):
        take(sqlite_engine, record, swapped)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text[:-40],
        lambda text: text.replace('"schema_version": 1', '"schema_version": 2'),
        lambda text: text.replace('"vehicle_id": 1', '"vehicle_id": "1"'),
        lambda text: text.replace('"outcome": "completed"', '"outcome": 7'),
        lambda text: text.replace('"outcome"', '"outcomes"'),
        lambda text: text.replace('"workshop"', '"shop"'),
        lambda text: text.replace('"flash": [', '"person": ['),
        lambda text: "[" * 100_000,
        lambda text: "null",
    ],
)
def test_a_document_of_another_kind_is_refused(
    sqlite_engine: Engine, packed: tuple[VehicleRecord, dict[str, bytes]], change: Callable[[str], str]
) -> None:
    record, files = packed
    text = to_json(record).decode()
    assert change(text) != text
    with pytest.raises(AppError):
        take(sqlite_engine, from_json(change(text).encode()), files)


def test_the_order_of_tables_puts_every_row_after_what_it_points_at() -> None:
    assert set(IN_ORDER) == {str(kind.__tablename__) for kind in (*OWNED, *SHARED)}
    for name in IN_ORDER:
        for key in Base.metadata.tables[name].foreign_keys:
            target = key.column.table.name
            if target in CLASSES and target != name:
                assert IN_ORDER.index(target) < IN_ORDER.index(name)
