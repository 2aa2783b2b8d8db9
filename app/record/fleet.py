"""What cars have in common: the same stock calibration, and the same change made to it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.record import car_state, layouts, revisions
from app.record.tables import ControlUnit, Layout, Revision, Stock, Vehicle


@dataclass(frozen=True, slots=True)
class Sister:
    """A control unit in a family, its car, and what it carries now."""

    vehicle: Vehicle
    unit: ControlUnit
    on_now: str
    revisions: int


@dataclass(frozen=True, slots=True)
class Family:
    """Control units of several cars whose stock is the same to the last byte, and the layout that reads it."""

    sha256: str
    role: str
    software_number: str
    layout: Layout | None
    sisters: tuple[Sister, ...]


def families(session: Session, *, limit: int = 100) -> list[Family]:
    """The largest families first."""
    counted = func.count(func.distinct(ControlUnit.vehicle_id))
    query = (
        select(Stock.sha256)
        .join(ControlUnit, ControlUnit.id == Stock.control_unit_id)
        .where(Stock.sha256.is_not(None))
        .group_by(Stock.sha256)
        .having(counted > 1)
        .order_by(counted.desc(), Stock.sha256)
        .limit(limit)
    )
    digests = [digest for digest in session.scalars(query) if digest is not None]
    return [_family(session, digest) for digest in digests]


def _family(session: Session, digest: str) -> Family:
    rows = session.execute(
        select(Vehicle, ControlUnit)
        .join(ControlUnit, ControlUnit.vehicle_id == Vehicle.id)
        .where(ControlUnit.id.in_(select(Stock.control_unit_id).where(Stock.sha256 == digest)))
        .order_by(Vehicle.id, ControlUnit.id)
    )
    found = [(vehicle, unit) for vehicle, unit in rows]
    unit_ids = [unit.id for _, unit in found]
    states = car_state.on_units(session, unit_ids)
    counted = select(Revision.control_unit_id, func.count()).where(Revision.control_unit_id.in_(unit_ids))
    counts = {unit_id: count for unit_id, count in session.execute(counted.group_by(Revision.control_unit_id))}  # noqa: C416 - a result has keys()
    first = found[0][1]
    known = layouts.matching(session, software_number=first.software_number, sha256=digest)
    sisters = tuple(Sister(vehicle, unit, states[unit.id].sentence, counts.get(unit.id, 0)) for vehicle, unit in found)
    return Family(digest, first.role, first.software_number, known[0] if known else None, sisters)


@dataclass(frozen=True, slots=True)
class SharedChange:
    """One change made to several cars.

    `ported` says that some of the revisions were computed for another base image: then each is measured against what
    it was made from; else all have the same image and are measured against stock.
    """

    revisions: tuple[Revision, ...]
    ported: bool

    @property
    def first(self) -> Revision:
        return self.revisions[0]


def shared_changes(session: Session, *, limit: int = 100) -> list[SharedChange]:
    """Changes that more than one car got, those of the most cars first."""
    same = (
        select(Revision.sha256)
        .where(Revision.sha256.is_not(None))
        .group_by(Revision.sha256)
        .having(func.count(func.distinct(Revision.control_unit_id)) > 1)
    )
    query = select(Revision).where(Revision.sha256.in_(same) | Revision.ported_from_id.is_not(None))
    rows = {row.id: row for row in session.scalars(query)}
    sources = {row.ported_from_id for row in rows.values()} - {None} - rows.keys()
    rows |= {row.id: row for row in session.scalars(select(Revision).where(Revision.id.in_(sources)))}
    groups = _joined(rows.values())
    found = [_change(group) for group in groups]
    cars = _vehicles(session, rows.values())
    wide = [one for one in found if len({cars[row.control_unit_id] for row in one.revisions}) > 1]
    return sorted(wide, key=lambda one: (-len(one.revisions), one.first.id))[:limit]


def change_of(session: Session, revision_id: int) -> SharedChange:
    """The change that a revision makes, with every revision that makes the same; itself alone when no other does."""
    known = {revision_id: revisions.revision(session, revision_id)}
    fresh = known
    while fresh:
        digests = {row.sha256 for row in fresh.values()} - {None}
        sources = {row.ported_from_id for row in fresh.values()} - {None}
        query = select(Revision).where(
            Revision.sha256.in_(digests) | Revision.id.in_(sources) | Revision.ported_from_id.in_(fresh)
        )
        fresh = {row.id: row for row in session.scalars(query) if row.id not in known}
        known = known | fresh
    return _change(sorted(known.values(), key=lambda row: row.id))


def _change(group: Sequence[Revision]) -> SharedChange:
    return SharedChange(tuple(group), any(row.ported_from_id is not None for row in group))


def _joined(rows: Iterable[Revision]) -> list[list[Revision]]:
    """Groups of revisions that are tied by the same image or by porting, each in order of number."""
    listed = sorted(rows, key=lambda row: row.id)
    group_of = {row.id: row.id for row in listed}

    def root(one: int) -> int:
        while group_of[one] != one:
            group_of[one] = group_of[group_of[one]]
            one = group_of[one]
        return one

    by_digest: dict[str, int] = {}
    for row in listed:
        ties = [by_digest.setdefault(row.sha256, row.id)] if row.sha256 is not None else []
        ties += [row.ported_from_id] if row.ported_from_id in group_of else []
        for other in ties:
            group_of[root(row.id)] = root(other)
    groups: dict[int, list[Revision]] = defaultdict(list)
    for row in listed:
        groups[root(row.id)].append(row)
    return list(groups.values())


def _vehicles(session: Session, rows: Iterable[Revision]) -> dict[int, int]:
    ids = {row.control_unit_id for row in rows}
    query = select(ControlUnit.id, ControlUnit.vehicle_id).where(ControlUnit.id.in_(ids))
    return {unit_id: vehicle_id for unit_id, vehicle_id in session.execute(query)}  # noqa: C416 - a result has keys()
