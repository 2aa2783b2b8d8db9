"""Sign a restore by name; the last signature issues the certificate."""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal, restore_certificate, restores
from app.record.restores import Case
from app.record.tables import Certificate, Person, RestoreSignOff


@dataclass(frozen=True, slots=True)
class Signed:
    """The signature, and the certificate when it was the last one."""

    sign_off: RestoreSignOff
    certificate: Certificate | None


def sign_off_restore(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    restore_id: int,
    name: str,
    password_fits: bool,
    zone: ZoneInfo,
) -> Signed:
    """Sign what the certificate says as it stands.

    `name` is the signer's own name as typed; `password_fits` was found out before, because hashing takes longer than
    the record may be held; `zone` is where the printed times are told. Raises Conflict while steps are open, when
    the rest of the record contradicts the case, or for a second signature by the same person. Two journal entries
    when the certificate is issued: the certificate quotes the head that holds the signature.
    """
    case = restores.case(session, restore_id, lock=True)
    case.require_open()
    _require_identity(person, name, password_fits)
    _require_ready(session, case)
    if any(row.by_id == person.id for row in case.sign_offs):
        raise Conflict("You have signed this restore; the second sign-off must be by another person.")
    statement = restore_certificate.draft(session, case, at=at, zone=zone).headline
    row = RestoreSignOff(restore_id=restore_id, statement=statement, at=at, by_id=person.id)
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="sign off restore",
        sentence=f"Restore {case.restore.number} signed off by {person.name}: {statement}",
        vehicle_id=case.restore.vehicle_id,
        subject=("restore", restore_id),
        facts={"statement": statement},
    )
    last = len(case.sign_offs) + 1 == (2 if case.restore.two_sign_offs else 1)
    return Signed(row, _issue(session, person, at, restore_id, zone) if last else None)


def _require_identity(person: Person, name: str, password_fits: bool) -> None:
    if " ".join(name.split()).casefold() != person.name.casefold():
        raise BadInput(f"Sign with your own name, {person.name}; somebody else signs in first.", field="name")
    if not password_fits:
        raise BadInput("The password is wrong; type your own password again.", field="password")


def _require_ready(session: Session, case: Case) -> None:
    if not case.progress.may_sign_off:
        left = [s.step.title for s in case.progress.states if s.step.evidence != "sign-off" and s.state != "done"]
        raise Conflict(f"These steps are not closed yet: {', '.join(left)}.", details=left)
    against = restore_certificate.against_the_record(session, case)
    if against:
        raise Conflict(f"The record speaks against signing. {against[0]}", details=against)


def _issue(session: Session, person: Person, at: dt.datetime, restore_id: int, zone: ZoneInfo) -> Certificate:
    case = restores.case(session, restore_id)
    body = restore_certificate.draft(session, case, at=at, zone=zone)
    seq, head = body.journal_head
    row = Certificate(
        restore_id=restore_id, body=body.to_json(), journal_seq=seq, journal_hash=head, at=at, by_id=person.id
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="issue certificate",
        sentence=f"Certificate {body.number} issued: {body.headline}",
        vehicle_id=case.restore.vehicle_id,
        subject=("restore", restore_id),
        facts={"journal_head": [seq, head]},
    )
    return row
