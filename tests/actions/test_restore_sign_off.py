"""The shop can rely on it that a certificate is signed by name, quotes the journal, and claims no more than was found.

Who signs and what is printed is common practice, no source.
"""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions.check_identity import check_identity
from app.actions.log_flash import NewFlash, log_flash
from app.actions.sign_off_restore import Signed, sign_off_restore
from app.calc.restore.certificate import STATEMENTS
from app.calc.vehicle.identity import Identity
from app.errors import BadInput, Conflict
from app.record import restores
from app.record.restore_certificate import draft
from app.record.restore_evidence import SupplyMeasured
from app.record.tables import Certificate, JournalEntry, Person
from app.record.verify import verify
from tests.restore_car import OPENED, TUNED, Car, Work, good_evidence, opened, overridden, read_back_of

LISBON = ZoneInfo("Europe/Lisbon")
LATER = OPENED + dt.timedelta(hours=6)
NO_PULL = "The dyno is being repaired; the customer has agreed in writing."


def ready(session: Session, tuner: Person, manager: Person, car: Car, *, two: bool = False) -> Work:
    """A case with every step closed: ten by evidence, the pull by override."""
    work = Work(session, tuner, car, opened(session, tuner, car, two_sign_offs=two))
    work.through("readiness")
    overridden(work, manager, "pull", NO_PULL)
    return work


def sign(work: Work, person: Person, *, name: str | None = None, fits: bool = True) -> Signed:
    return sign_off_restore(
        work.session,
        person=person,
        at=LATER,
        restore_id=work.restore_id,
        name=person.name if name is None else name,
        password_fits=fits,
        zone=LISBON,
    )


def test_the_signature_issues_a_certificate_that_quotes_the_head_with_the_signature(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = ready(session, tuner, manager, car)
    signed = sign(work, tuner, name=" ana  reis ")
    assert signed.certificate is not None
    entries = list(session.scalars(select(JournalEntry).order_by(JournalEntry.seq)))
    assert [e.action for e in entries[-2:]] == ["sign off restore", "issue certificate"]
    assert (signed.certificate.journal_seq, signed.certificate.journal_hash) == (entries[-2].seq, entries[-2].hash)
    assert signed.certificate.body["journal_head"] == [entries[-2].seq, entries[-2].hash]
    assert verify(session, anchors=[(entries[-2].seq, entries[-2].hash)]).findings == ()


def test_the_certificate_says_what_was_verified_and_what_was_not(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    signed = sign(ready(session, tuner, manager, car), tuner)
    assert signed.certificate is not None
    body = signed.certificate.body
    assert body["number"] == f"{car.vehicle_id}-1"
    assert body["issued_at"] == "7 Sep 2026, 16:00 WEST"
    assert body["headline"] == "10 of 11 checks verified, 1 overridden without being verified."
    assert [line["title"] for line in body["overridden"]] == ["Verify on the dyno"]
    assert body["overridden"][0] == {
        "title": "Verify on the dyno",
        "reason": NO_PULL,
        "by": "M. Ostrow",
        "finding": "No evidence was recorded.",
    }
    assert body["statements"] == list(STATEMENTS)
    assert body["signatures"] == [{"name": "Ana Reis", "role": "Tuner", "signed_at": "7 Sep 2026, 16:00 WEST"}]
    assert body["vehicle"]["control_units"] == ["Engine: hardware HW-2204, software SW-77A, calibration TK36N5507C"]
    stock, read = body["digests"][0], body["digests"][1]
    assert (stock["label"], read["label"]) == ("Stock image, engine", "Read-back, engine")
    assert stock["sha256"] == read["sha256"]


def test_two_sign_offs_need_two_people(session: Session, tuner: Person, manager: Person, car: Car) -> None:
    work = ready(session, tuner, manager, car, two=True)
    assert sign(work, tuner).certificate is None
    with pytest.raises(Conflict, match="another person"):
        sign(work, tuner)
    case = restores.case(session, work.restore_id)
    assert case.progress.next_step is not None
    assert case.progress.next_step.key == "second_sign_off"
    signed = sign(work, manager)
    assert signed.certificate is not None
    assert [one["name"] for one in signed.certificate.body["signatures"]] == ["Ana Reis", "M. Ostrow"]


def test_nothing_changes_under_a_signature(session: Session, tuner: Person, manager: Person, car: Car) -> None:
    work = ready(session, tuner, manager, car, two=True)
    sign(work, tuner)
    with pytest.raises(Conflict, match="signed already"):
        work.close("supply", SupplyMeasured(13.1, 13.9))
    with pytest.raises(Conflict, match="signed already"):
        overridden(work, manager, "supply", "It is good enough as it is.")
    sign(work, manager)
    with pytest.raises(Conflict, match="certificate of this restore is issued"):
        work.close("supply", SupplyMeasured(13.1, 13.9))
    with pytest.raises(Conflict, match="certificate of this restore is issued"):
        sign(work, tuner)
    assert len(session.scalars(select(Certificate)).all()) == 1


def test_nobody_signs_under_another_name_or_without_the_password(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = ready(session, tuner, manager, car)
    with pytest.raises(BadInput) as caught:
        sign(work, tuner, name="M. Ostrow")
    assert caught.value.field == "name"
    with pytest.raises(BadInput) as caught:
        sign(work, tuner, fits=False)
    assert caught.value.field == "password"


def test_an_open_step_keeps_the_case_from_being_signed(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = Work(session, tuner, car, opened(session, tuner, car))
    work.through("faults")
    with pytest.raises(Conflict, match="not closed yet: Complete the readiness monitors, Verify on the dyno"):
        sign(work, tuner)


def test_what_the_rest_of_the_record_says_counts_too(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = ready(session, tuner, manager, car)
    scanned = Identity("HW-2204", "SW-99Z", (), ())
    check_identity(session, person=tuner, at=work.later(), control_unit_id=car.unit_id, scanned=scanned)
    with pytest.raises(Conflict, match="somebody else has written this unit"):
        sign(work, tuner)


def test_a_write_after_the_last_step_keeps_it_from_being_signed(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = ready(session, tuner, manager, car)
    flash = NewFlash(car.revision_id, "completed", 13.5, 13.4)
    log_flash(session, person=tuner, at=work.later(), control_unit_id=car.unit_id, flash=flash)
    with pytest.raises(Conflict, match="Write the stock image"):
        sign(work, tuner)


def test_a_later_write_does_not_rewrite_what_was_certified(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = ready(session, tuner, manager, car)
    sign(work, tuner)
    flash = NewFlash(car.revision_id, "completed", 13.5, 13.4)
    log_flash(session, person=tuner, at=work.later(), control_unit_id=car.unit_id, flash=flash)
    case = restores.case(session, work.restore_id)
    assert case.state(f"flash.{car.unit_id}").state == "done"
    assert case.progress.sentence.startswith("11 of 11 steps done")


def test_an_overridden_read_back_that_differs_may_be_signed_and_prints_what_was_found(
    session: Session, tuner: Person, manager: Person, car: Car
) -> None:
    work = Work(session, tuner, car, opened(session, tuner, car))
    work.through("flash")
    work.close(f"read_back.{car.unit_id}", read_back_of(TUNED))
    overridden(work, manager, f"read_back.{car.unit_id}", "Learned values, by the maker's note 2231.")
    for key in ("write_coding", "compare_coding", "parts", "faults", "readiness"):
        assert work.close(key, good_evidence(car)[key]).outcome == "verified"
    overridden(work, manager, "pull", NO_PULL)
    signed = sign(work, tuner)
    assert signed.certificate is not None
    assert "64 of 8,192 compared bytes differ" in signed.certificate.body["overridden"][0]["finding"]


def test_a_draft_can_be_read_at_any_time(session: Session, tuner: Person, car: Car) -> None:
    work = Work(session, tuner, car, opened(session, tuner, car))
    work.through("read_back")
    found = draft(session, restores.case(session, work.restore_id), at=LATER, zone=LISBON)
    assert found.headline == "5 of 11 checks verified, 6 not verified."
    assert found.signatures == ()
    assert [line.label for line in found.digests][-1] == "Option coding to restore (as found)"
