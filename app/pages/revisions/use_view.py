"""What became of a revision: decisions, flashes, what was measured with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.dyno.limits import LimitSummary
from app.pages.limits import limit_words, region_words
from app.record import dyno, flashes, measured, revisions, vehicles
from app.record.tables import DynoSession, Revision, RevisionDecision
from app.web.units_view import UnitsView

STATES = {
    "released": ("ok", "released"),
    "kept": ("info", "kept"),
    "withdrawn": ("unknown", "withdrawn"),
    "": ("unknown", "draft, not decided"),
}


@dataclass(frozen=True, slots=True)
class DecisionRow:
    at: datetime
    by: str
    decision: str
    look: str
    reason: str
    legal_basis: str
    limits_reason: str


@dataclass(frozen=True, slots=True)
class SessionRow:
    """A dyno session with this revision on the car; links to the gain over stock and over the parent."""

    at: datetime
    href: str
    purpose: str
    pulls: int
    over_stock: str
    over_parent: str


@dataclass(frozen=True, slots=True)
class Use:
    """Decisions, newest first, what a release would ask for, flashes, sessions."""

    state: tuple[str, str]
    decisions: tuple[DecisionRow, ...]
    legal_basis: str
    crossings: tuple[str, ...]
    not_observed: tuple[str, ...]
    flashes: tuple[tuple[str, str, datetime], ...]
    sessions: tuple[SessionRow, ...]


def use_of(session: Session, row: Revision, units: UnitsView) -> Use:
    """What became of a revision."""
    decided = revisions.decision_history(session, row.id)
    unit = vehicles.control_unit(session, row.control_unit_id)
    limits = measured.limit_findings(session, row)
    return Use(
        state=STATES[decided[0].decision if decided else ""],
        decisions=tuple(_decision(session, one) for one in decided),
        legal_basis=vehicles.vehicle(session, unit.vehicle_id).legal_basis,
        crossings=_told(limits.summaries, "crossed", units),
        not_observed=_told(limits.summaries, "not observed", units),
        flashes=_flashes(session, row),
        sessions=_sessions(session, row),
    )


def _told(summaries: Sequence[LimitSummary], state: str, units: UnitsView) -> tuple[str, ...]:
    """What was found about each limit, the limit itself in the reader's units."""
    return tuple(
        f"{limit_words(limit.channel, limit.bound, limit.value, units)} ({region_words(limit)})"
        + one.sentence.removeprefix(limit.text)
        for one in summaries
        if one.state == state
        for limit in (one.limit,)
    )


def _decision(session: Session, one: RevisionDecision) -> DecisionRow:
    name = flashes.person_name(session, one.by_id)
    look = STATES[one.decision][0]
    return DecisionRow(one.at, name, one.decision, look, one.reason, one.legal_basis, one.limits_reason)


def _flashes(session: Session, row: Revision) -> tuple[tuple[str, str, datetime], ...]:
    found = flashes.of_units(session, [row.control_unit_id])
    return tuple(
        (f"Flash {one.flash.id}, {one.flash.outcome}", f"/flashes/{one.flash.id}", one.flash.flashed_at)
        for one in found
        if one.flash.revision_id == row.id
    )


def _sessions(session: Session, row: Revision) -> tuple[SessionRow, ...]:
    found = measured.sessions_with(session, row.control_unit_id, row.id)
    if not found:
        return ()
    stock = measured.sessions_with(session, row.control_unit_id, None)
    parent: Sequence[DynoSession] = ()
    if row.parent_id is not None:
        parent = measured.sessions_with(session, row.control_unit_id, row.parent_id)
    runs = dyno.runs_of(session, [one.id for one in found])
    return tuple(
        SessionRow(
            one.measured_at,
            f"/dyno-sessions/{one.id}",
            one.purpose,
            sum(record.included for record in runs[one.id]),
            _gain(stock, one),
            _gain(parent, one),
        )
        for one in found
    )


def _gain(before: Sequence[DynoSession], after: DynoSession) -> str:
    """Address of the gain over the latest earlier session that compares, else over any; empty when there is none."""
    alike = [one for one in before if not dyno.hindrance(one, after)]
    earlier = [one for one in alike if one.measured_at <= after.measured_at] or alike
    return f"/gains?from={earlier[0].id}&to={after.id}" if earlier else ""
