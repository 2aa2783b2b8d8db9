"""Attribute a result to the revision that was on the car; changing it later takes a reason."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict, NotFound
from app.record import journal, revisions, vehicles
from app.record.tables import Attribution, DynoSession, EconomyTrial, Person, StripRun


@dataclass(frozen=True, slots=True)
class Result:
    """Exactly one of the three."""

    dyno_session_id: int | None = None
    strip_run_id: int | None = None
    economy_trial_id: int | None = None


def attribute(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    result: Result,
    control_unit_id: int,
    revision_id: int | None,
    reason: str,
) -> Attribution:
    """Add the attribution that applies from now on; the earlier one stays in the history."""
    if len(reason.strip()) < 3:
        raise BadInput("Write why this result belongs to that revision.", field="reason")
    vehicle_id = _vehicle_id(session, result)
    if vehicles.control_unit(session, control_unit_id).vehicle_id != vehicle_id:
        raise Conflict("That control unit belongs to another car.", field="control_unit_id")
    if revision_id is not None:
        revisions.require_same_unit(revisions.revision(session, revision_id), control_unit_id)
    row = Attribution(
        dyno_session_id=result.dyno_session_id,
        strip_run_id=result.strip_run_id,
        economy_trial_id=result.economy_trial_id,
        control_unit_id=control_unit_id,
        revision_id=revision_id,
        reason=reason.strip(),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    what = "stock" if revision_id is None else f"revision {revisions.revision(session, revision_id).number}"
    journal.append(
        session,
        at=at,
        person=person,
        action="attribute",
        sentence=f"Result attributed to {what}: {reason.strip()}",
        vehicle_id=vehicle_id,
        subject=("attribution", row.id),
    )
    return row


def _vehicle_id(session: Session, result: Result) -> int:
    found: DynoSession | StripRun | EconomyTrial | None
    if result.dyno_session_id is not None:
        found = session.get(DynoSession, result.dyno_session_id)
    elif result.strip_run_id is not None:
        found = session.get(StripRun, result.strip_run_id)
    elif result.economy_trial_id is not None:
        found = session.get(EconomyTrial, result.economy_trial_id)
    else:
        raise BadInput("Name the result to attribute.")
    if found is None:
        raise NotFound("The result to attribute is not on record.")
    return found.vehicle_id
