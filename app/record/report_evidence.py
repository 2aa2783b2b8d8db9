"""What the record can and cannot say of a session: what was on each control unit, and what of it was verified."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.record import dyno, flashes, revisions, stocks, vehicles
from app.record.flashes import FlashRecord
from app.record.tables import ControlUnit, DynoSession, Revision, RevisionDecision


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that was verified, or was not."""

    verified: bool
    title: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Carried:
    """What one control unit carried in a session. `revision` None: stock. `write`: the last completed write before the
    pulls, None when none is on record."""

    unit: ControlUnit
    revision: Revision | None
    digest: str | None
    decision: RevisionDecision | None
    write: FlashRecord | None
    attributed_reason: str

    @property
    def words(self) -> str:
        return "stock" if self.revision is None else f"revision {self.revision.number}"

    @property
    def contradicted(self) -> bool:
        """Does the flash log say that something else was written last?"""
        revision_id = None if self.revision is None else self.revision.id
        return self.write is not None and self.write.flash.revision_id != revision_id


def carried(session: Session, row: DynoSession) -> list[Carried]:
    """Control units of the session's car that the session is attributed on, in order of their roles."""
    attributed = dyno.attributions(session, [row.id])[row.id]
    writes = flashes.of_units(session, list(attributed))
    found = []
    for unit in vehicles.control_units(session, row.vehicle_id):
        one = attributed.get(unit.id)
        if one is None:
            continue
        revision = None if one.revision_id is None else revisions.revision(session, one.revision_id)
        stock = stocks.current(session, unit.id)
        digest = revision.sha256 if revision is not None else None if stock is None else stock.sha256
        decided = {} if revision is None else revisions.decisions(session, [revision.id])
        write = next((w for w in writes if w.flash.control_unit_id == unit.id and _before(w, row)), None)
        found.append(Carried(unit, revision, digest, decided.get(one.revision_id or 0), write, one.reason))
    return found


def _before(write: FlashRecord, row: DynoSession) -> bool:
    return write.flash.outcome == "completed" and write.flash.flashed_at <= row.measured_at


def statements(session: Session, row: DynoSession) -> list[Statement]:
    """What was verified of the session's car, unit by unit, and what was not; nothing is left out."""
    loses_coding = vehicles.vehicle(session, row.vehicle_id).loses_coding
    units = carried(session, row)
    if not units:
        return [Statement(False, "On the car", "No control unit is on record; what was on the car is not known.")]
    found = []
    for one in units:
        role = one.unit.role.capitalize()
        found.append(_attributed(session, one, role))
        if one.revision is not None:
            found += [_release(session, one.revision, one.decision, role), *_checksums(session, one.revision, role)]
        if one.write is None:
            found.append(_no_write(session, one, role))
            continue
        if one.contradicted:
            continue
        found += [_read_back(one.write, role), _supply(one.write, role)]
        if loses_coding:
            found.append(_coding(one.write, role))
    return found


def _attributed(session: Session, one: Carried, role: str) -> Statement:
    if one.contradicted and one.write is not None:
        other = one.write.flash.revision_id
        written = "stock" if other is None else f"revision {revisions.revision(session, other).number}"
        sentence = (
            f"{one.words.capitalize()}, {one.attributed_reason}; the flash log says that {written} was written last."
        )
        return Statement(False, f"{role} control unit", sentence)
    return Statement(True, f"{role} control unit", f"{one.words.capitalize()}, {one.attributed_reason}.")


def _release(session: Session, revision: Revision, decision: RevisionDecision | None, role: str) -> Statement:
    title = f"Release of {role.lower()} revision {revision.number}"
    if decision is None or decision.decision == "kept":
        return Statement(False, title, "Not released: the workshop has not signed it off.")
    by = flashes.person_name(session, decision.by_id)
    if decision.decision == "withdrawn":
        return Statement(False, title, f"Withdrawn by {by}: {decision.reason}")
    return Statement(True, title, f"Released and signed off by {by}.")


def _checksums(session: Session, revision: Revision, role: str) -> list[Statement]:
    title = f"Block checksums of {role.lower()} revision {revision.number}"
    analysis = revisions.analysis(session, revision.id)
    states = [] if analysis is None else [str(one["state"]) for one in analysis.checksums]
    if not states:
        return [Statement(False, title, "Not known: no layout tells where they are.")]
    bad, unknown = states.count("does not hold"), states.count("not known")
    if bad or unknown:
        return [Statement(False, title, f"{bad} do not hold, {unknown} not known, of {len(states)}.")]
    return [Statement(True, title, f"{len(states)} of {len(states)} hold.")]


def _no_write(session: Session, one: Carried, role: str) -> Statement:
    title = f"{role} control unit read"
    if one.revision is not None:
        return Statement(False, title, f"No write of revision {one.revision.number} is on record before these pulls.")
    if stocks.current(session, one.unit.id) is None:
        return Statement(False, title, "Stock was never confirmed by two identical reads.")
    return Statement(
        True, title, "Stock was read twice with the same result; no write is on record before these pulls."
    )


def _read_back(write: FlashRecord, role: str) -> Statement:
    title = f"{role} control unit read back after the write"
    if write.read_back is None:
        return Statement(False, title, "It was not read back; that the write arrived whole is not verified.")
    return Statement(write.read_back.equal, title, write.read_back.sentence)


def _supply(write: FlashRecord, role: str) -> Statement:
    title = f"Supply voltage while the {role.lower()} control unit was written"
    before, lowest = write.flash.supply_before_v, write.flash.supply_lowest_v
    if before is None and lowest is None:
        return Statement(False, title, "Not recorded.")
    parts = [
        f"{value:.1f} V {when}" for value, when in ((before, "before"), (lowest, "at the lowest")) if value is not None
    ]
    return Statement(True, title, f"Recorded: {', '.join(parts)}.")


def _coding(write: FlashRecord, role: str) -> Statement:
    title = f"Option coding after the write of the {role.lower()} control unit"
    back = write.write_back
    if back is None:
        return Statement(False, title, "It was not written back on record; do not start the engine before that.")
    if back.waiver_reason is not None:
        return Statement(False, title, f"Not written back: {back.waiver_reason}")
    if back.equal:
        return Statement(True, title, "Written back and compared: equal to the snapshot, key by key.")
    return Statement(
        False,
        title,
        f"Written back, but {counted(len(back.differences), 'key differs', 'keys differ')} from the snapshot.",
    )
