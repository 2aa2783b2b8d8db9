"""What needs a person, in order of danger: read from the log, never kept as a list of its own."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.record import car_state, flash_log, flashes, revisions
from app.record.car_state import vehicle_label
from app.record.flashes import FlashRecord
from app.record.settings import shop
from app.record.tables import (
    Attribution,
    Certificate,
    ControlUnit,
    IdentityCheck,
    Restore,
    RestoreAbandonment,
    Revision,
    RevisionDecision,
    Run,
    Stock,
    StockRead,
    Vehicle,
)

Severity = Literal["danger", "attention", "info"]
_ORDER: dict[Severity, int] = {"danger": 0, "attention": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing that waits: how grave, the sentence, what to do, and what it is about (kind, id)."""

    vehicle_id: int
    vehicle: str
    severity: Severity
    sentence: str
    action: str
    target: tuple[str, int]


def of_vehicles(session: Session, vehicles: Sequence[Vehicle]) -> list[Attention]:
    """Everything that waits on the given cars, the most dangerous first."""
    if not vehicles:
        return []
    by_id = {vehicle.id: vehicle for vehicle in vehicles}
    units = session.scalars(select(ControlUnit).where(ControlUnit.vehicle_id.in_(by_id))).all()
    found: list[Attention] = []
    found += _coding(session, vehicles)
    found += _flashes(session, by_id, units)
    found += _identity(session, by_id, units)
    found += _restores(session, by_id)
    found += _undecided(session, by_id, units)
    found += _single_reads(session, by_id, units)
    return sorted(found, key=lambda item: (_ORDER[item.severity], item.vehicle_id))


def everywhere(session: Session) -> list[Attention]:
    """Everything that waits in the shop."""
    return of_vehicles(session, session.scalars(select(Vehicle).order_by(Vehicle.id)).all())


def _coding(session: Session, vehicles: Sequence[Vehicle]) -> list[Attention]:
    owed = car_state.pending_of(session, vehicles)
    return [
        Attention(
            v.id,
            vehicle_label(v),
            "danger",
            "Coding pending: write it back and verify it before the engine is first started.",
            "Write coding back",
            ("flash", owed[v.id][-1].flash_id),
        )
        for v in vehicles
        if v.id in owed
    ]


def _latest(records: Sequence[FlashRecord]) -> dict[int, FlashRecord]:
    newest: dict[int, FlashRecord] = {}
    for record in records:
        newest.setdefault(record.flash.control_unit_id, record)
    return newest


def _flashes(session: Session, by_id: dict[int, Vehicle], units: Sequence[ControlUnit]) -> list[Attention]:
    newest = _latest(flashes.of_units(session, [unit.id for unit in units]))
    written = [one.flash.revision_id for one in newest.values() if one.flash.revision_id is not None]
    decided = revisions.decisions(session, written)
    minimum_v = shop(session).supply_minimum_v
    found = []
    for unit in units:
        record = newest.get(unit.id)
        if record is None:
            continue
        vehicle = by_id[unit.vehicle_id]
        decision = decided.get(record.flash.revision_id or 0)
        withdrawn = decision is not None and decision.decision == "withdrawn"
        found += [
            Attention(vehicle.id, vehicle_label(vehicle), severity, sentence, action, ("flash", record.flash.id))
            for sentence, action, severity in _flash_findings(
                unit.role, record, withdrawn=withdrawn, minimum_v=minimum_v
            )
        ]
    return found


def _flash_findings(
    role: str, record: FlashRecord, *, withdrawn: bool, minimum_v: float
) -> list[tuple[str, str, Severity]]:
    """What is wrong with the last write, the most dangerous first. Where it is not known what the unit carries, that is
    all there is to say; else each finding stands, since mending one mends no other."""
    if record.flash.outcome != "completed":
        sentence = f"The last write to the {role} control unit {record.flash.outcome}: what it carries is not known."
        return [(sentence, "Log the next write", "danger")]
    if record.read_back is not None and not record.read_back.equal:
        sentence = f"The read-back of the {role} control unit differs from what was written."
        return [(sentence, "Look at it", "danger")]
    found: list[tuple[str, str, Severity]] = []
    broken = flash_log.broken_checksums(record.flash)
    if broken:
        names = ", ".join(broken)
        sentence = f"On the car: the {role} control unit carries an image whose checksum does not hold ({names})."
        found.append((sentence, "Look at it", "danger"))
    if withdrawn:
        sentence = f"On the car: the {role} control unit carries a withdrawn revision."
        found.append((sentence, "Look at it", "attention"))
    if record.read_back is None:
        low = flash_log.low_supply(record.flash, minimum_v)
        ran = "" if low is None else f"ran at {low:.1f} V, below the shop's {minimum_v:.1f} V, and "
        sentence = f"The last write to the {role} control unit {ran}was not read back."
        found.append((sentence, "Add the read-back", "attention"))
    return found


def _identity(session: Session, by_id: dict[int, Vehicle], units: Sequence[ControlUnit]) -> list[Attention]:
    checks = session.scalars(
        select(IdentityCheck).where(IdentityCheck.control_unit_id.in_([u.id for u in units])).order_by(IdentityCheck.id)
    )
    newest = {check.control_unit_id: check for check in checks}
    states = car_state.on_units(session, [u.id for u in units if u.id in newest and not newest[u.id].matches])
    role = {unit.id: unit for unit in units}
    found = []
    for unit_id, state in states.items():
        if state.kind == "unknown" and state.flash_id is None:
            vehicle = by_id[role[unit_id].vehicle_id]
            found.append(
                Attention(
                    vehicle.id,
                    vehicle_label(vehicle),
                    "attention",
                    f"The {role[unit_id].role} control unit reports other numbers than the record: "
                    "somebody else has written it.",
                    "Compare the numbers",
                    ("identity_check", newest[unit_id].id),
                )
            )
    return found


def _restores(session: Session, by_id: dict[int, Vehicle]) -> list[Attention]:
    done = select(Certificate.restore_id).union(select(RestoreAbandonment.restore_id))
    latest = select(func.max(Restore.id)).where(Restore.vehicle_id.in_(by_id)).group_by(Restore.vehicle_id)
    rows = session.scalars(select(Restore).where(Restore.id.in_(latest), Restore.id.not_in(done)))
    return [
        Attention(
            row.vehicle_id,
            vehicle_label(by_id[row.vehicle_id]),
            "attention",
            f"Restore {row.number} is open: {row.reason}",
            "Continue the restore",
            ("restore", row.id),
        )
        for row in rows
    ]


def _undecided(session: Session, by_id: dict[int, Vehicle], units: Sequence[ControlUnit]) -> list[Attention]:
    """Revisions with measured pulls that nobody kept, released or withdrew."""
    vehicle_of = {unit.id: by_id[unit.vehicle_id] for unit in units}
    measured = _measured(session, vehicle_of)
    decided: Collection[int] = set(
        session.scalars(select(RevisionDecision.revision_id).where(RevisionDecision.revision_id.in_(measured)))
    )
    rows = session.scalars(select(Revision).where(Revision.id.in_(measured)).order_by(Revision.id))
    return [
        Attention(
            vehicle_of[row.control_unit_id].id,
            vehicle_label(vehicle_of[row.control_unit_id]),
            "info",
            f"Revision {row.number} “{row.title}” was measured, but nobody has decided on it.",
            "Decide",
            ("revision", row.id),
        )
        for row in rows
        if row.id not in decided
    ]


def _measured(session: Session, unit_ids: Collection[int]) -> set[int]:
    """Revisions that sessions with pulls are attributed to; the latest attribution of a session applies."""
    rows = session.execute(
        select(Attribution.dyno_session_id, Attribution.control_unit_id, Attribution.revision_id)
        .where(
            Attribution.control_unit_id.in_(unit_ids),
            Attribution.dyno_session_id.in_(select(Run.dyno_session_id)),
        )
        .order_by(Attribution.id)
    )
    latest = {(session_id, unit_id): revision_id for session_id, unit_id, revision_id in rows}
    return {revision_id for revision_id in latest.values() if revision_id is not None}


def _single_reads(session: Session, by_id: dict[int, Vehicle], units: Sequence[ControlUnit]) -> list[Attention]:
    unit_ids = [unit.id for unit in units]
    confirmed: dict[int, int] = defaultdict(int)
    for stock in session.scalars(select(Stock).where(Stock.control_unit_id.in_(unit_ids))):
        confirmed[stock.control_unit_id] = max(confirmed[stock.control_unit_id], stock.generation)
    single = set()
    for read in session.scalars(select(StockRead).where(StockRead.control_unit_id.in_(unit_ids))):
        if read.generation > confirmed[read.control_unit_id]:
            single.add(read.control_unit_id)
    return [
        Attention(
            unit.vehicle_id,
            vehicle_label(by_id[unit.vehicle_id]),
            "info",
            f"Stock of the {unit.role} control unit was read once; a second, equal read confirms it.",
            "Add the second read",
            ("control_unit", unit.id),
        )
        for unit in units
        if unit.id in single
    ]
