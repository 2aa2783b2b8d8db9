"""Several people write at the same moment: every act that was taken is there, numbered once, in one chain."""

import datetime as dt
import threading
from collections.abc import Callable

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError

from app.actions.change_person import change_person
from app.actions.sign_in import sign_in
from app.errors import AppError
from app.record import people
from app.record.engine import reading, transaction
from app.record.tables import ControlUnit, JournalEntry, Person, Revision, Vehicle
from app.record.verify import verify
from tests.shop import STOCK, Shop, changed, image_bytes, vin

PEOPLE = 6
AT = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)


def at_once(work: Callable[[int], None]) -> list[BaseException]:
    """Run the work of several people in threads that begin together; what they could not handle."""
    failures: list[BaseException] = []
    together = threading.Barrier(PEOPLE)

    def one(number: int) -> None:
        together.wait()
        try:
            work(number)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(PEOPLE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return failures


def colleague(shop: Shop, number: int) -> Shop:
    """Somebody else at work in another transaction, as the same person."""
    other = Shop.__new__(Shop)
    other.__dict__.update(shop.__dict__ | {"_cars": 1000 * (number + 1)})
    return other


@pytest.fixture
def shop(engine: Engine) -> Shop:
    with transaction(engine) as session:
        shop = Shop(session)
        unit = shop.unit()
        shop.stock(unit)
    return shop


def test_acts_at_once_become_one_unbroken_chain(engine: Engine, shop: Shop) -> None:
    each = 20

    def work(number: int) -> None:
        for _ in range(each):
            with transaction(engine) as session:
                mine = colleague(shop, number)
                mine.session = session
                mine.scan(session.get_one(ControlUnit, 1))

    assert at_once(work) == []
    with reading(engine) as session:
        numbers = list(session.scalars(select(JournalEntry.seq).order_by(JournalEntry.seq)))
        assert numbers == list(range(1, 4 + PEOPLE * each + 1))
        assert verify(session).clean


def test_two_revisions_never_get_the_same_number(engine: Engine, shop: Shop) -> None:
    """Who comes second is refused or gets the next number; nobody overwrites anybody."""
    taken: list[int] = []
    turns = 4

    def work(number: int) -> None:
        for turn in range(turns):
            try:
                with transaction(engine) as session:
                    mine = colleague(shop, number)
                    mine.session = session
                    unit = session.get_one(ControlUnit, 1)
                    taken_now = mine.revision(unit, changed(STOCK, 16 * number + turn)).number
            except IntegrityError:
                continue
            taken.append(taken_now)

    assert at_once(work) == []
    assert sorted(taken) == list(range(1, len(taken) + 1))
    with reading(engine) as session:
        # Of those who try for the same number one gets it, so at the least every turn brings one.
        assert len(session.scalars(select(Revision)).all()) == len(taken) >= turns
        assert verify(session).clean


def test_one_car_is_registered_once(engine: Engine, shop: Shop) -> None:
    answers: list[str] = []

    def work(number: int) -> None:
        try:
            with transaction(engine) as session:
                mine = colleague(shop, number)
                mine.session = session
                mine.car(vin=vin(77), plate="ONE 1")
            answers.append("taken")
        except (AppError, IntegrityError):
            answers.append("refused")

    assert at_once(work) == []
    assert sorted(answers) == ["refused"] * (PEOPLE - 1) + ["taken"]
    with reading(engine) as session:
        assert len(session.scalars(select(Vehicle).where(Vehicle.vin == vin(77))).all()) == 1
        assert session.scalars(select(Person)).one().name == "Ada Renn"
        assert verify(session).clean


def test_the_same_bytes_stored_at_once_are_stored_once(engine: Engine, shop: Shop) -> None:
    data = image_bytes(99)
    failures: list[str] = []

    def work(number: int) -> None:
        try:
            with transaction(engine) as session:
                mine = colleague(shop, number)
                mine.session = session
                mine.pull(mine.dyno_session(session.get_one(Vehicle, 1), mine.dyno(f"Bay {number}")), data)
        except IntegrityError:
            failures.append("somebody stored the same bytes just now")

    assert at_once(work) == []
    assert len(failures) < PEOPLE
    with reading(engine) as session:
        assert verify(session).clean


def test_wrong_passwords_at_once_are_all_counted(engine: Engine) -> None:
    with transaction(engine) as session:
        person = people.add(session, name="Tom Vale", role="tuner", password_hash=None, at=AT)

    def work(number: int) -> None:
        with transaction(engine) as session:
            sign_in(session, person=person, at=AT, password_fits=False, old_token=None)

    assert at_once(work) == []
    with reading(engine) as session:
        found = people.by_id(session, person.id)
        # The fifth one locks, and the sixth is refused unseen.
        assert (found.failed_sign_ins, found.locked_until is not None) == (5, True)


def test_managers_who_remove_each_other_at_once_leave_one(engine: Engine) -> None:
    with transaction(engine) as session:
        ids = [
            people.add(session, name=f"Manager {number}", role="manager", password_hash=None, at=AT).id
            for number in range(PEOPLE)
        ]
    refused: list[str] = []

    def work(number: int) -> None:
        try:
            with transaction(engine) as session:
                change_person(session, person=None, at=AT, person_id=ids[number], role="tuner")
        except AppError as error:
            refused.append(error.sentence)

    assert at_once(work) == []
    assert len(refused) == 1
    with reading(engine) as session:
        assert people.active_managers(session) == 1
