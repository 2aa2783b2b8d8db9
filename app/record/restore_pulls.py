"""Which dyno sessions can prove a restore, and how their pulls compare with the baseline's."""

from collections.abc import Collection

from sqlalchemy.orm import Session

from app.calc.dyno.equivalence import equivalence
from app.calc.number_text import counted, plain, rpm
from app.calc.restore.verdicts import Verdict, pull_verdict
from app.errors import Conflict
from app.record import dyno, gains
from app.record.tables import DynoSession, Restore


def baselines(session: Session, vehicle_id: int) -> list[DynoSession]:
    """Sessions of a car that were measured on stock, newest first, those meant as a baseline before the others."""
    rows = dyno.sessions_of_vehicle(session, vehicle_id)
    attributed = dyno.attributions(session, [row.id for row in rows])
    on_stock = [row for row in rows if all(one.revision_id is None for one in attributed[row.id].values())]
    return sorted(on_stock, key=lambda row: row.purpose != "baseline")


def measured_since(session: Session, restore: Restore) -> list[DynoSession]:
    """Sessions that were measured since the case was opened, newest first."""
    return [row for row in dyno.sessions_of_vehicle(session, restore.vehicle_id) if _is_since(restore, row)]


def _is_since(restore: Restore, row: DynoSession) -> bool:
    """By the journal's order, and where a person told when it was measured, by that time."""
    told = row.measured_at if row.measured_at != row.at else None
    return row.entry_seq > restore.entry_seq and (told is None or told >= restore.at)


def require_fit(session: Session, restore: Restore, unit_ids: Collection[int], session_id: int) -> None:
    """Raise Conflict for a session that proves nothing for this case."""
    row = dyno.dyno_session(session, session_id)
    if row.vehicle_id != restore.vehicle_id:
        raise Conflict("That session is of another car.", field="session_id")
    if not _is_since(restore, row):
        raise Conflict("That session was measured before this restore; make pulls now.", field="session_id")
    attributed = dyno.attributions(session, [row.id])[row.id]
    if any(attributed[unit].revision_id is not None for unit in unit_ids if unit in attributed):
        raise Conflict(
            "That session is attributed to a revision; pulls on stock are needed. Correct the attribution if it is "
            "wrong.",
            field="session_id",
        )


def judged(session: Session, restore: Restore, session_id: int) -> Verdict:
    """The pulls of a session against the baseline's: not verified where the two may not be compared.

    Raises Conflict when there is no baseline or one side has no pull that counts.
    """
    if restore.baseline_session_id is None:
        raise Conflict("This restore has no baseline session to compare with; this step can only be overridden.")
    standard = dyno.dyno_session(session, restore.baseline_session_id).correction_standard
    found = gains.compared(session, restore.baseline_session_id, session_id, standard=standard)
    before, after = found.before.pulls, found.after.pulls
    if before is None or after is None:
        raise Conflict(found.before.refusal or found.after.refusal, field="session_id")
    conditions = [
        f"{item.name}: baseline {item.before} {item.unit}".rstrip() + f", now {item.after} {item.unit}".rstrip()
        for item in found.comparability.differing
    ]
    if found.refusals:
        sentence = f"The pulls cannot be compared with the baseline: {'; '.join(found.refusals)}."
        return Verdict("not verified", sentence, tuple(conditions))
    result = equivalence(before, after, margin_percent=restore.margin_percent, history=found.history)
    details = (
        f"Largest difference at one engine speed: {plain(result.worst_percent, 1, sign=True)} % at "
        f"{rpm(result.worst_at_rpm)}.",
        f"{counted(before.count, 'pull')} of the baseline, {after.count} now.",
        found.comparability.sentence,
        *conditions,
    )
    verdict = pull_verdict(result)
    return Verdict(verdict.outcome, verdict.sentence, details)
