"""Keep, release or withdraw a revision, signed by name."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import journal, measured, revisions, vehicles
from app.record.measured import LimitFindings
from app.record.tables import Person, Revision, RevisionDecision

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
) -> RevisionDecision:
    """Record the decision.

    A release asks for the legal basis of use, and for a written reason when a measured pull with this revision
    crossed a limit of the car. A withdrawal asks for its reason.
    """
    revision = revisions.revision(session, revision_id)
    unit = vehicles.control_unit(session, revision.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    if decision not in DECISIONS:
        raise BadInput(f"Decide one of {', '.join(DECISIONS)}.", field="decision")
    basis = legal_basis.strip() or vehicle.legal_basis
    if decision == "withdrawn" and not reason.strip():
        raise BadInput("Write why the revision is withdrawn.", field="reason")
    limits = measured.limit_findings(session, revision) if decision == "released" else LimitFindings()
    crossings = limits.crossed
    if decision == "released":
        _check_release(session, revision, basis, limits_reason, crossings)
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
        facts={
            "sha256": revision.sha256,
            "legal_basis": row.legal_basis,
            "limit_crossings": list(crossings),
            "limits_not_observed": list(limits.not_observed),
        },
    )
    return row


def _check_release(
    session: Session, revision: Revision, basis: str, limits_reason: str, crossings: tuple[str, ...]
) -> None:
    if not basis:
        raise BadInput(
            "State the legal basis before release, for example off-road use only, competition, or approved part: "
            "changing emission-relevant calibration is prohibited on public roads in many places.",
            field="legal_basis",
        )
    if crossings and not limits_reason.strip():
        raise BadInput(
            "A pull with this revision crossed a limit of this car. "
            "Write why it is released all the same, or revise it.",
            field="limits_reason",
            details=crossings,
        )
    analysis = revisions.analysis(session, revision.id)
    broken = [c for c in (analysis.checksums if analysis else []) if c["state"] == "does not hold"]
    if broken:
        raise Conflict(f"Block checksum “{broken[0]['name']}” of this image does not hold; it cannot be released.")
