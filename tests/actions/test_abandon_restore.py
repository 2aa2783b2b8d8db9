"""The shop can rely on it that a restore which is not finished ends with a reason, and that nothing is forgiven by it.

Who may end a case and what stays owed is common practice, no source.
"""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions.abandon_restore import abandon_restore
from app.errors import BadInput, Conflict, Forbidden
from app.record import attention, car_state, people, restores, timeline, vehicles
from app.record.restore_evidence import SupplyMeasured
from app.record.tables import JournalEntry, Person, RestoreAbandonment
from app.record.verify import verify
from tests.restore_car import OPENED, Work, opened

WHY = "The owner drives on with the revision."


def abandon(work: Work, person: Person, reason: str = WHY) -> RestoreAbandonment:
    return abandon_restore(work.session, person=person, at=work.later(), restore_id=work.restore_id, reason=reason)


def waiting(work: Work) -> list[str]:
    vehicle = vehicles.vehicle(work.session, work.car.vehicle_id)
    return [item.target[0] for item in attention.of_vehicles(work.session, [vehicle])]


def test_an_abandoned_case_waits_for_nobody_and_stands_in_the_history(
    session: Session, tuner: Person, work: Work
) -> None:
    assert "restore" in waiting(work)
    abandon(work, tuner)
    assert "restore" not in waiting(work)
    newest = timeline.of_vehicle(session, work.car.vehicle_id, topic="restore")[0]
    assert newest.sentence == f"Restore 1 abandoned without a certificate: {WHY}"
    assert (newest.person, newest.subject) == ("Ana Reis", ("restore", work.restore_id))
    assert verify(session).clean


def test_nothing_more_is_recorded_for_it_and_a_new_case_does_not_take_its_place(
    session: Session, tuner: Person, work: Work
) -> None:
    work.through("secure_stock")
    abandon(work, tuner)
    with pytest.raises(Conflict, match="was abandoned"):
        work.close("supply", SupplyMeasured(13.2, 13.8))
    opened(session, tuner, work.car)
    case = restores.case(session, work.restore_id)
    assert case.replaced_by is None
    assert case.abandonment is not None


def test_coding_that_a_write_left_pending_stays_owed(session: Session, tuner: Person, work: Work) -> None:
    work.through("read_back")
    abandon(work, tuner)
    vehicle = vehicles.vehicle(session, work.car.vehicle_id)
    assert work.car.vehicle_id in car_state.pending_of(session, [vehicle])
    assert "flash" in waiting(work)


def test_the_reason_is_a_sentence_and_twice_the_same_is_once(session: Session, tuner: Person, work: Work) -> None:
    with pytest.raises(BadInput, match="why this restore is not finished") as caught:
        abandon(work, tuner, "  no  ")
    assert caught.value.field == "reason"
    first = abandon(work, tuner)
    assert abandon(work, tuner, f" {WHY} ") is first
    with pytest.raises(Conflict, match="was abandoned"):
        abandon(work, tuner, "Quite another reason.")
    entries = session.scalars(select(JournalEntry).where(JournalEntry.action == "abandon restore")).all()
    assert len(entries) == 1


def test_the_front_desk_does_not_end_a_restore(session: Session, work: Work) -> None:
    desk = people.add(session, name="F. Desk", role="front_desk", password_hash=None, at=OPENED)
    with pytest.raises(Forbidden):
        abandon(work, desk)


def test_a_replaced_case_is_not_abandoned(session: Session, tuner: Person, work: Work) -> None:
    opened(session, tuner, work.car)
    with pytest.raises(Conflict, match="took the place"):
        abandon(work, tuner)
