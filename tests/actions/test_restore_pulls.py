"""The shop can rely on it that the pulls of a restore prove what they can, and that nothing else is claimed of them.

Equivalence by two one-sided tests: Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657. The pulls are made 0.2 %, 2 %
and 8 % above the baseline's curve: what must be said follows from how they were made. Which pulls count is common
practice, no source.
"""

import datetime as dt
import re
from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from app.actions.add_dyno import add_dyno
from app.errors import Conflict, NotFound
from app.record import restores
from app.record.restore_evidence import (
    PullsMeasured,
)
from app.record.tables import Person
from tests.restore_car import OPENED, Car, Work, opened, verification


@pytest.mark.parametrize(
    ("levels", "margin", "outcome"),
    [
        ((1.002, 1.005, 0.999), 3.0, "verified"),
        ((1.02, 1.024, 1.016), 3.0, "verified"),
        ((1.02, 1.024, 1.016), 1.0, "failed"),
        ((1.08, 1.084, 1.076), 3.0, "failed"),
    ],
)
def test_the_verification_pulls_are_tested_for_equivalence(
    session: Session, tuner: Person, car: Car, levels: tuple[float, ...], margin: float, outcome: str
) -> None:
    work = Work(session, tuner, car, opened(session, tuner, car, margin_percent=margin))
    work.through("readiness")
    pulls = verification(session, tuner, car, work.later(), levels=levels)
    row = work.close("pull", PullsMeasured(pulls))
    assert row.outcome == outcome
    assert row.evidence["kept"] == {"session_id": pulls, "baseline_session_id": car.baseline_id}
    assert restores.case(session, work.restore_id).progress.may_sign_off == (outcome == "verified")


def test_pulls_from_before_the_case_or_of_a_revision_prove_nothing(session: Session, tuner: Person, work: Work) -> None:
    before = verification(session, tuner, work.car, OPENED, levels=(1.0,), measured_at=OPENED - dt.timedelta(hours=1))
    tuned = verification(session, tuner, work.car, work.later(), levels=(1.0, 1.001))
    work.through("readiness")
    with pytest.raises(Conflict, match="before this restore"):
        work.close("pull", PullsMeasured(before))
    with pytest.raises(Conflict, match="before this restore"):
        work.close("pull", PullsMeasured(work.car.baseline_id))
    with pytest.raises(Conflict, match="attributed to a revision"):
        work.close("pull", PullsMeasured(tuned))
    with pytest.raises(NotFound):
        work.close("pull", PullsMeasured(999))


def test_pulls_on_another_dyno_or_in_another_gear_cannot_be_compared(
    session: Session, tuner: Person, work: Work
) -> None:
    work.through("readiness")
    other = add_dyno(session, person=tuner, at=work.later(), name="Another bay")
    moved = replace(work.car, dyno_id=other.id)
    row = work.close("pull", PullsMeasured(verification(session, tuner, moved, work.later(), levels=(1.0, 1.001))))
    assert (row.outcome, "different dynos" in row.sentence) == ("not verified", True)
    assert row.details[0].startswith("Dyno: baseline Bay 4518, now Another bay")


def test_what_the_pulls_came_to_is_told_with_its_conditions(session: Session, tuner: Person, work: Work) -> None:
    work.through("readiness")
    row = work.close("pull", PullsMeasured(verification(session, tuner, work.car, work.later(), levels=(1.01, 1.012))))
    assert re.fullmatch(r"Largest difference at one engine speed: \+1\.\d % at \d,\d{3}\u202frpm\.", row.details[0])
    assert row.details[1] == "3 pulls of the baseline, 2 now."


def test_a_session_without_a_pull_proves_nothing(session: Session, tuner: Person, work: Work) -> None:
    work.through("readiness")
    empty = verification(session, tuner, work.car, work.later(), levels=())
    with pytest.raises(Conflict, match="No pull"):
        work.close("pull", PullsMeasured(empty))
