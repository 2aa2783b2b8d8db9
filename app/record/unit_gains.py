"""Which step brought what: the gain of each revision of a control unit, against its parent and against stock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.peaks import gain_at_peak
from app.errors import AppError
from app.record import dyno, dyno_curves, gains, revisions, vehicles
from app.record.gains import Compared
from app.record.kept import Kept
from app.record.results import build_of
from app.record.tables import Attribution, DynoSession, Revision

Builds = Mapping[int, Mapping[int, Attribution]]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A revision against another one (None: stock): the sessions compared and the gain, or why there is none.

    alone : nothing else differed on the car between the two sessions.
    """

    revision: Revision
    base: Revision | None
    pair: tuple[DynoSession, DynoSession] | None
    found: Compared | None
    alone: bool
    refusal: str


@dataclass(frozen=True, slots=True)
class Glance:
    """The gain in power where the curve after peaks, kW, with its half width (None when not known).

    speed_rpm : where it was read off: the peak or, where only the session after gets so far, the nearest speed that
    both cover.
    """

    speed_rpm: float
    peak_rpm: float
    gain_kw: float
    half_kw: float | None


_glances: Kept[tuple[object, ...], Glance | str] = Kept(1000)


def steps(session: Session, unit_id: int) -> list[Step]:
    """Every revision against its parent, oldest first."""
    rows = revisions.of_unit(session, unit_id)
    by_id = {row.id: row for row in rows}
    chooser = _Chooser(session, unit_id)
    return [_step(session, chooser, row, None if row.parent_id is None else by_id[row.parent_id]) for row in rows]


def against_stock(session: Session, unit_id: int) -> list[Step]:
    """Every revision against stock, oldest first."""
    chooser = _Chooser(session, unit_id)
    return [_step(session, chooser, row, None) for row in revisions.of_unit(session, unit_id)]


def glances(session: Session, unit_id: int) -> dict[int, Glance]:
    """Revision id → its gain against stock, for those that were measured; kept while nothing it rests on changes."""
    chooser = _Chooser(session, unit_id)
    found: dict[int, Glance] = {}
    counted: dict[int, Mapping[int, tuple[tuple[int, str], ...]]] = {}
    for row in revisions.of_unit(session, unit_id):
        pair = chooser.pair(None, row.id)
        if pair is None:
            continue
        before, after = pair
        if after.dyno_id not in counted:
            ids = dyno.session_ids_of_dyno(session, after.dyno_id)
            counted[after.dyno_id] = dyno.counted_runs(session, ids[: 2 * dyno_curves.LAST_SESSIONS])
        key = (*_air(before), *_air(after), after.dyno_id, tuple(counted[after.dyno_id].items()))
        value = _glances.get(key)
        if value is None:
            value = glance_of(_compare(session, before, after)[0]) or "no gain"
            _glances.put(key, value)
        if isinstance(value, Glance):
            found[row.id] = value
    return found


def glance_of(found: Compared | None) -> Glance | None:
    """The gain at the power peak of the curve after; None without a result."""
    if found is None or found.result is None or found.after.pulls is None:
        return None
    one = gain_at_peak(found.result, found.after.pulls)
    return Glance(one.read.speed_rpm, one.peak_rpm, one.read.gain_kw, one.read.half_kw)


def _air(row: DynoSession) -> tuple[object, ...]:
    """What a session's corrected figures follow from beside its pulls."""
    return row.id, row.correction_standard, row.pressure_hpa, row.temperature_c, row.relative_humidity_percent


class _Chooser:
    """The sessions of a unit's car with what was on it, to choose those that show a step best."""

    def __init__(self, session: Session, unit_id: int) -> None:
        self.unit_id = unit_id
        unit = vehicles.control_unit(session, unit_id)
        rows = dyno.sessions_of_vehicle(session, unit.vehicle_id)
        counted = dyno.counted_runs(session, [row.id for row in rows])
        self.rows = [row for row in rows if counted[row.id]]
        self.builds: Builds = dyno.attributions(session, [row.id for row in self.rows])

    def with_revision(self, revision_id: int | None) -> Sequence[DynoSession]:
        """Sessions with this revision (None: stock) on the unit, newest first."""
        return [
            row
            for row in self.rows
            if self.unit_id in self.builds[row.id] and self.builds[row.id][self.unit_id].revision_id == revision_id
        ]

    def pair(self, base_id: int | None, revision_id: int) -> tuple[DynoSession, DynoSession] | None:
        """The sessions before and after: on one dyno in one gear, best with nothing else changed, then under one
        standard, then the newest and those nearest in time."""
        candidates = [
            (before, after)
            for after in self.with_revision(revision_id)
            for before in self.with_revision(base_id)
            if before.dyno_id == after.dyno_id and before.gear == after.gear
        ]

        def rank(pair: tuple[DynoSession, DynoSession]) -> tuple[object, ...]:
            before, after = pair
            apart = abs((after.measured_at - before.measured_at).total_seconds())
            standards = before.correction_standard != after.correction_standard
            return not self.alone(pair), standards, -after.measured_at.timestamp(), apart

        return min(candidates, key=rank, default=None)

    def alone(self, pair: tuple[DynoSession, DynoSession]) -> bool:
        """Did nothing but this unit differ between the sessions?"""
        others = [
            build_of({unit: one for unit, one in self.builds[row.id].items() if unit != self.unit_id}) for row in pair
        ]
        return others[0] == others[1]


def _step(session: Session, chooser: _Chooser, row: Revision, base: Revision | None) -> Step:
    base_id = None if base is None else base.id
    pair = chooser.pair(base_id, row.id)
    if pair is not None:
        found, refusal = _compare(session, *pair)
        return Step(row, base, pair, found, chooser.alone(pair), refusal)
    words = "stock" if base is None else f"revision {base.number}"
    if not chooser.with_revision(row.id):
        refusal = "not measured yet"
    elif not chooser.with_revision(base_id):
        refusal = f"no pulls with {words} to compare with"
    else:
        refusal = f"measured only on another dyno or in another gear than {words}"
    return Step(row, base, None, None, True, refusal)


def _compare(session: Session, before: DynoSession, after: DynoSession) -> tuple[Compared | None, str]:
    """Under the sessions' own standard, or uncorrected from the raw pulls where they differ."""
    standard = None if before.correction_standard == after.correction_standard else "none"
    try:
        found = gains.compared(session, before.id, after.id, standard=standard)
    except AppError as error:
        return None, error.sentence
    return found, "; ".join(found.refusals)
