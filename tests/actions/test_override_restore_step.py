"""The shop can rely on it that a step without evidence is closed by a manager's name and reason, and never verified.

Who may override is common practice, no source.
"""

import hashlib

import pytest

from app.errors import BadInput, Conflict, Forbidden
from app.record import restores
from app.record.tables import Person
from tests.restore_car import STOCK, TUNED, Work, actions_of, overridden, read_back_of


def test_only_a_manager_with_the_password_and_a_reason_overrides(work: Work, tuner: Person, manager: Person) -> None:
    work.through("flash")
    key = f"read_back.{work.car.unit_id}"
    with pytest.raises(Forbidden):
        overridden(work, tuner, key, "The tool cannot read this unit.")
    with pytest.raises(BadInput) as caught:
        overridden(work, manager, key, "The tool cannot read this unit.", fits=False)
    assert caught.value.field == "password"
    with pytest.raises(BadInput) as caught:
        overridden(work, manager, key, " no \n ")
    assert caught.value.field == "reason"
    first = overridden(work, manager, key, "The tool cannot read this unit.")
    assert overridden(work, manager, key, "The tool cannot  read this unit.") == first
    with pytest.raises(Conflict):
        overridden(work, manager, key, "Another reason altogether.")
    state = restores.case(work.session, work.restore_id).state(key)
    assert state.override is not None
    assert (state.state, state.override.by) == ("done", "M. Ostrow")
    assert actions_of(work.session)[-1] == "override step"


def test_newer_evidence_takes_the_place_of_an_override(work: Work, manager: Person) -> None:
    work.through("flash")
    key = f"read_back.{work.car.unit_id}"
    overridden(work, manager, key, "The tool cannot read this unit.")
    work.close(key, read_back_of(TUNED))
    state = restores.case(work.session, work.restore_id).state(key)
    assert (state.state, state.override) == ("open", None)


def test_a_unit_whose_write_was_overridden_is_still_compared_with_stock(work: Work, manager: Person) -> None:
    work.through("supply")
    unit = work.car.unit_id
    overridden(work, manager, f"flash.{unit}", "The dealer has written stock; invoice 2231.")
    assert work.close(f"read_back.{unit}", read_back_of(TUNED)).outcome == "failed"
    row = work.close(f"read_back.{unit}", read_back_of(STOCK))
    assert (row.outcome, row.evidence["kept"]) == ("verified", {"sha256": hashlib.sha256(STOCK).hexdigest()})
