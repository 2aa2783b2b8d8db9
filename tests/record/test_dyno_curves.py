"""Curves out of the record: what counts, what was corrected already, and which sessions a dyno's history rests on."""

import datetime as dt

import pytest
from sqlalchemy.orm import Session

from app.actions.add_runs import NewRuns, add_runs
from app.actions.decide_run import decide_run
from app.errors import Conflict
from app.readers.dyno_csv import read_dyno_csv
from app.record import dyno, dyno_curves, gains, people
from app.record.kept import Kept
from app.record.tables import Person
from tests.dyno_car import START, Car, car_on_record, pull_csv, session_of


@pytest.fixture
def person(session: Session) -> Person:
    return people.add(session, name="Tuner", role="tuner", password_hash=None, at=START)


@pytest.fixture
def car(session: Session, person: Person) -> Car:
    return car_on_record(session, person)


def add(session: Session, person: Person, session_id: int, data: bytes) -> None:
    runs = NewRuns.of_file(read_dyno_csv(data))
    add_runs(
        session, person=person, at=START, dyno_session_id=session_id, uploaded=data, file_name="pull.csv", runs=runs
    )


def headed(data: bytes, torque: str) -> bytes:
    """The same pull with another heading of the torque column."""
    return data.replace(b"Torque [Nm]", torque.encode())


def test_an_excluded_pull_is_out_of_the_mean_and_of_the_history(session: Session, person: Person, car: Car) -> None:
    session_id = session_of(session, person, car, 1)
    row = dyno.dyno_session(session, session_id)
    assert dyno_curves.pulls_of(session, row).count == 3
    before = dyno_curves.history(session, car.dyno_id)
    run = dyno.runs_of(session, [session_id])[session_id][0].run
    decide_run(session, person=person, at=START, run_id=run.id, included=False, reason="Slipped on the roller")
    assert dyno_curves.pulls_of(session, row).count == 2
    after = dyno_curves.history(session, car.dyno_id)
    assert before is not None and after is not None
    assert (before.dof, after.dof) == (2, 1)


def test_pulls_that_the_dyno_corrected_are_not_corrected_again_nor_converted(
    session: Session, person: Person, car: Car
) -> None:
    session_id = session_of(session, person, car, 1, seeds=(), correction_standard="sae_j1349", temperature_c=33.0)
    for seed in (1, 2):
        add(session, person, session_id, headed(pull_csv(seed), "Corrected torque [Nm]"))
    row = dyno.dyno_session(session, session_id)
    assert dyno_curves.factor(session, row).factor == 1.0
    side = gains.side(session, row, None)
    assert side.by_dyno and side.pulls is not None
    with pytest.raises(Conflict, match="had corrected them already"):
        dyno_curves.pulls_of(session, row, "none")
    add(session, person, session_id, pull_csv(3))
    with pytest.raises(Conflict, match="Some pulls of the dyno session were corrected"):
        dyno_curves.factor(session, row)


def test_power_at_the_engine_is_not_compared_with_power_at_the_wheels(
    session: Session, person: Person, car: Car
) -> None:
    at_wheels = session_of(session, person, car, 1, seeds=())
    at_engine = session_of(session, person, car, 2, seeds=())
    for seed in (1, 2):
        add(session, person, at_wheels, headed(pull_csv(seed), "Wheel torque [Nm]"))
        add(session, person, at_engine, headed(pull_csv(10 + seed), "Engine torque [Nm]"))
    found = gains.compared(session, at_wheels, at_engine)
    assert found.result is None
    assert found.refusals == ("the power of one is told at the wheels and of the other at the engine",)


def test_history_rests_on_the_sessions_up_to_the_moment_and_on_no_more_than_the_last_hundred(
    session: Session, person: Person, car: Car, monkeypatch: pytest.MonkeyPatch
) -> None:
    ids = [session_of(session, person, car, day, seeds=(1, 2)) for day in range(1, 7)]
    until = START + dt.timedelta(days=4)
    assert dyno_curves.history_ids(session, car.dyno_id, until=until) == ids[3::-1]
    assert dyno_curves.history_ids(session, car.dyno_id, until=until, leave_out=[ids[3]]) == ids[2::-1]
    monkeypatch.setattr(dyno_curves, "LAST_SESSIONS", 2)
    assert dyno_curves.history_ids(session, car.dyno_id, leave_out=[ids[5]]) == [ids[4], ids[3]]


def test_a_pull_that_holds_no_sweep_is_named_and_left_out(session: Session, person: Person, car: Car) -> None:
    session_id = session_of(session, person, car, 1)
    idle = "Engine speed [1/min];Torque [Nm]\n" + "\n".join(f"{800 + k % 7};{20 + k % 3}" for k in range(60))
    add(session, person, session_id, idle.encode())
    side = gains.side(session, dyno.dyno_session(session, session_id), None)
    assert side.positions == (1, 2, 3)
    ((position, why),) = side.left_out
    assert position == 4
    assert why.endswith(".")


def test_what_is_kept_stays_within_its_bound_and_the_longest_unused_goes() -> None:
    kept: Kept[int, str] = Kept(3)
    for number in range(3):
        kept.put(number, str(number))
    assert kept.get(0) == "0"
    kept.put(3, "3")
    assert kept.get(1) is None
    assert [kept.get(number) for number in (0, 2, 3)] == ["0", "2", "3"]
