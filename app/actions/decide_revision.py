"""Keep, release or withdraw a revision, signed by name."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal, revisions, vehicles
from app.record.tables import Person, RevisionDecision

DECISIONS = ("kept", "released", "withdrawn")


def decide_revision(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    revision_id: int,
    decision: str,
    reason: str = "",
    legal_basis: str = "",
    limits_reason: str = "",
    limit_crossings: Sequence[str] = (),
) -> RevisionDecision:
    """Record the decision.

    A release asks for the legal basis of use, and for a written reason when a measured pull of this revision
    crossed a limit of the car (`limit_crossings`, one sentence each). A withdrawal asks for its reason.
    """
    revision = revisions.revision(session, revision_id)
    unit = vehicles.control_unit(session, revision.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    if decision not in DECISIONS:
        raise BadInput(f"Decide one of {', '.join(DECISIONS)}.", field="decision")
    basis = legal_basis.strip() or vehicle.legal_basis
    if decision == "withdrawn" and not reason.strip():
        raise BadInput("Write why the revision is withdrawn.", field="reason")
    if decision == "released":
        _check_release(session, revision_id, basis, limits_reason, limit_crossings)
    row = RevisionDecision(
        revision_id=revision.id,
        decision=decision,
        reason=reason.strip(),
        legal_basis=basis if decision == "released" else "",
        limits_reason=limits_reason.strip(),
        digest=revision.sha256,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action=f"{decision} revision",
        sentence=f"Revision {revision.number} of {unit.role} {decision} by {person.name}."
        + (f" {reason.strip()}" if reason.strip() else ""),
        vehicle_id=vehicle.id,
        subject=("revision", revision.id),
        facts={"sha256": revision.sha256, "legal_basis": row.legal_basis, "limit_crossings": list(limit_crossings)},
    )
    return row


def _check_release(
    session: Session, revision_id: int, basis: str, limits_reason: str, limit_crossings: Sequence[str]
) -> None:
    if not basis:
        raise BadInput(
            "State the legal basis before release, for example off-road use only, competition, or approved part: "
            "changing emission-relevant calibration is prohibited on public roads in many places.",
            field="legal_basis",
        )
    if limit_crossings and not limits_reason.strip():
        raise BadInput(
            f"A pull with this revision crossed a limit of this car ({limit_crossings[0]}). "
            "Write why it is released all the same, or revise it.",
            field="limits_reason",
            details=limit_crossings,
        )
    analysis = revisions.analysis(session, revision_id)
    broken = [c for c in (analysis.checksums if analysis else []) if c["state"] == "does not hold"]
    if broken:
        raise Conflict(f"Block checksum “{broken[0]['name']}” of this image does not hold; it cannot be released.")
