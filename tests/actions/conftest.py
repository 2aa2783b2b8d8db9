"""The car of a restore and who works on it; a test of another act makes its own."""

import pytest
from sqlalchemy.orm import Session

from app.record import people
from app.record.tables import Person
from tests.restore_car import OPENED, Car, Work, opened, tuned_car


@pytest.fixture
def tuner(session: Session) -> Person:
    return people.add(session, name="Ana Reis", role="tuner", password_hash=None, at=OPENED)


@pytest.fixture
def manager(session: Session) -> Person:
    return people.add(session, name="M. Ostrow", role="manager", password_hash=None, at=OPENED)


@pytest.fixture
def car(session: Session, tuner: Person) -> Car:
    return tuned_car(session, tuner)


@pytest.fixture
def work(session: Session, tuner: Person, car: Car) -> Work:
    return Work(session, tuner, car, opened(session, tuner, car))
