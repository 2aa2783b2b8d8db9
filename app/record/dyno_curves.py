"""Curves of the record's sessions: pulls that count, corrected, and the history of a dyno.

A run never changes once it is on record, so a fitted curve and a session's spread are kept in memory.
"""

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.dyno.correction import STANDARDS, CorrectionFactor
from app.calc.dyno.curve import Curve, Pulls, curve_of, on_common_grid
from app.calc.dyno.history import History, Spread, pooled_history
from app.calc.dyno.repeatability import repeatability
from app.calc.dyno.session_air import UNCORRECTED, session_factor
from app.errors import BadInput, Conflict
from app.record import channels, dyno, vehicles
from app.record.dyno import PullKey
from app.record.kept import Kept
from app.record.tables import DynoSession, Run

# More sessions would narrow nothing: they leave the degrees of freedom in the hundreds, and dynos change over years.
LAST_SESSIONS = 100

_curves: Kept[tuple[int, str], Curve | str] = Kept(2000)
_spreads: Kept[tuple[tuple[int, str], ...], Spread | str] = Kept(2000)


@dataclass(frozen=True, slots=True, eq=False)
class FittedPull:
    """A pull with its uncorrected curve, or the sentence why it gives none."""

    key: PullKey
    curve: Curve | None
    refusal: str

    @property
    def counts(self) -> bool:
        return self.key.included and self.curve is not None


def fitted(session: Session, session_ids: Collection[int]) -> dict[int, list[FittedPull]]:
    """Session id → every pull of it with its curve as recorded, in order."""
    keys = dyno.pull_keys(session, session_ids)
    known = _known(session, [key for pulls in keys.values() for key in pulls])
    found: dict[int, list[FittedPull]] = {}
    for session_id, pulls in keys.items():
        found[session_id] = []
        for key in pulls:
            value = known[key.run_id]
            pull = FittedPull(key, None, value) if isinstance(value, str) else FittedPull(key, value, "")
            found[session_id].append(pull)
    return found


def _known(session: Session, keys: Sequence[PullKey]) -> dict[int, Curve | str]:
    """Run id → its curve, or why there is none; only what is not kept yet is read and fitted."""
    kept = {key.run_id: _curves.get((key.run_id, key.sha256)) for key in keys}
    digests = {key.run_id: key.sha256 for key in keys}
    missing = [run_id for run_id, value in kept.items() if value is None]
    rows = session.execute(select(Run.id, Run.channels).where(Run.id.in_(missing)))
    for run_id, packed in rows:
        value = _fit(packed)
        _curves.put((run_id, digests[run_id]), value)
        kept[run_id] = value
    return {run_id: value for run_id, value in kept.items() if value is not None}


def _fit(packed: bytes) -> Curve | str:
    try:
        return curve_of(channels.unpack(packed))
    except BadInput as error:
        return error.sentence


def factor(session: Session, row: DynoSession, standard: str | None = None) -> CorrectionFactor:
    """The session's factor under its own standard or another; see `factor_for`."""
    return factor_for(session, row, dyno.pull_keys(session, [row.id])[row.id], standard)


def factor_for(
    session: Session, row: DynoSession, keys: Collection[PullKey], standard: str | None = None
) -> CorrectionFactor:
    """The factor of a session whose pulls are known; Conflict when its air was not recorded.

    Pulls that the dyno had corrected already are left as they are: a second factor would count the air twice.
    """
    wanted = standard or row.correction_standard
    if _corrected_by_dyno(keys):
        if wanted != row.correction_standard:
            raise Conflict(
                "The files of these pulls say that the dyno had corrected them already; without the raw values they "
                f"cannot be converted to {STANDARDS[wanted]}."
            )
        return UNCORRECTED
    vehicle = vehicles.vehicle(session, row.vehicle_id)
    found = session_factor(
        wanted,
        pressure_hpa=row.pressure_hpa,
        temperature_c=row.temperature_c,
        relative_humidity_percent=row.relative_humidity_percent,
        diesel=vehicle.fuel == "diesel",
        boosted=vehicle.boosted,
    )
    if found is None:
        raise Conflict(
            "Ambient pressure or temperature of the dyno session was not recorded, so it cannot be corrected; "
            "compare it uncorrected."
        )
    return found


def _corrected_by_dyno(keys: Collection[PullKey]) -> bool:
    """Do the files say that torque and power were corrected already? Conflict when only some of the pulls do."""
    said = {key.corrected for key in keys if key.included}
    if len(said) > 1:
        raise Conflict(
            "Some pulls of the dyno session were corrected by the dyno, some not; exclude one kind, with a reason."
        )
    return said == {True}


def pulls_of(session: Session, row: DynoSession, standard: str | None = None) -> Pulls:
    """The pulls that count on their common grid, corrected; Conflict when none does."""
    found = fitted(session, [row.id])[row.id]
    return joined(found, factor_for(session, row, [one.key for one in found], standard).factor)


def joined(pulls: Sequence[FittedPull], by: float) -> Pulls:
    """Those that count on their common grid, multiplied by a correction factor; Conflict when none does."""
    curves = [one.curve for one in pulls if one.counts and one.curve is not None]
    if not curves:
        raise Conflict("No pull of the dyno session counts; add pulls or take one in again.")
    common = on_common_grid(curves)
    return Pulls(common.speed_rpm, common.torque_nm * by, common.power_kw * by)


def spreads(session: Session, session_ids: Collection[int]) -> dict[int, Spread]:
    """Session id → its own repeatability; sessions with fewer than two usable pulls are left out."""
    wanted = dyno.counted_runs(session, session_ids)
    kept = {i: _spreads.get(runs) for i, runs in wanted.items()}
    curves = fitted(session, [i for i, value in kept.items() if value is None])
    for session_id, pulls in curves.items():
        value = _spread([one.curve for one in pulls if one.counts and one.curve is not None])
        _spreads.put(wanted[session_id], value)
        kept[session_id] = value
    return {i: value for i, value in kept.items() if isinstance(value, Spread)}


def _spread(curves: Sequence[Curve]) -> Spread | str:
    if len(curves) < 2:
        return "fewer than two pulls"
    try:
        return repeatability(on_common_grid(curves)).spread or "fewer than two pulls"
    except BadInput as error:
        return error.sentence


def history_ids(
    session: Session, dyno_id: int, *, leave_out: Collection[int] = (), until: dt.datetime | None = None
) -> list[int]:
    """The sessions that a dyno's history rests on, newest first."""
    found = dyno.session_ids_of_dyno(session, dyno_id, until=until, last=LAST_SESSIONS + len(leave_out))
    return [session_id for session_id in found if session_id not in leave_out][:LAST_SESSIONS]


def history(
    session: Session, dyno_id: int, *, leave_out: Collection[int] = (), until: dt.datetime | None = None
) -> History | None:
    """The pooled repeatability of a dyno over its sessions up to a moment, without those given.

    With a moment the figures of a printed report come out the same when sessions have been added since.
    """
    ids = history_ids(session, dyno_id, leave_out=leave_out, until=until)
    return pooled_history(list(spreads(session, ids).values()))
