"""What was measured with a revision on the car, and whether a limit of the car was crossed then."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.dyno.curve import in_sweep
from app.calc.dyno.limits import LimitSummary, check_limits
from app.record import channels, dyno, limits, vehicles
from app.record.tables import Attribution, ControlUnit, DynoSession, Revision


def sessions_with(session: Session, unit_id: int, revision_id: int | None) -> Sequence[DynoSession]:
    """Dyno sessions of a car measured with this revision (None: stock) on the unit, newest first."""
    rows = session.execute(
        select(Attribution.dyno_session_id, Attribution.revision_id)
        .where(Attribution.control_unit_id == unit_id, Attribution.dyno_session_id.is_not(None))
        .order_by(Attribution.id)
    )
    # The latest attribution of a session applies.
    latest = {dyno_session_id: attributed for dyno_session_id, attributed in rows}  # noqa: C416 - a result has keys()
    wanted = [dyno_session_id for dyno_session_id, attributed in latest.items() if attributed == revision_id]
    return session.scalars(
        select(DynoSession)
        .where(DynoSession.id.in_(wanted))
        .order_by(DynoSession.measured_at.desc(), DynoSession.id.desc())
    ).all()


@dataclass(frozen=True, slots=True)
class LimitFindings:
    """Each limit of the car that an included pull with a revision crossed, or that no such pull could show."""

    summaries: tuple[LimitSummary, ...] = ()

    @property
    def crossed(self) -> tuple[str, ...]:
        """One sentence, in the record's units, for each limit that was crossed."""
        return tuple(one.sentence for one in self.summaries if one.state == "crossed")

    @property
    def not_observed(self) -> tuple[str, ...]:
        return tuple(one.sentence for one in self.summaries if one.state == "not observed")


def limit_findings(session: Session, revision: Revision) -> LimitFindings:
    """Every limit in force on every included pull that was made with this revision on the unit."""
    unit = session.get_one(ControlUnit, revision.control_unit_id)
    bounds = [limits.to_check(row) for row in vehicles.limits(session, unit.vehicle_id)]
    runs = dyno.runs_of(session, [row.id for row in sessions_with(session, unit.id, revision.id)]) if bounds else {}
    pulls = [
        (f"session {session_id}, pull {record.run.position}", in_sweep(channels.unpack(record.run.channels)))
        for session_id, records in runs.items()
        for record in records
        if record.included
    ]
    return LimitFindings(tuple(one for one in check_limits(bounds, pulls) if one.state != "within"))


def limit_crossings(session: Session, revision: Revision) -> tuple[str, ...]:
    """One sentence for each limit of the car that an included pull with this revision crossed."""
    return limit_findings(session, revision).crossed
