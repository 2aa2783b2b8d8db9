"""Curves of the record's sessions: pulls that count, corrected, and the history of a dyno."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.correction import CorrectionFactor
from app.calc.dyno.curve import Curve, Pulls, curve_of, on_common_grid
from app.calc.dyno.repeatability import History, Spread, pooled_history, repeatability
from app.calc.dyno.session_air import session_factor
from app.errors import BadInput, Conflict
from app.record import channels, dyno, vehicles
from app.record.tables import DynoSession, Run

_KEPT = 2000
_curves: dict[tuple[int, str], Curve] = {}


@dataclass(frozen=True, slots=True)
class FittedPull:
    """A pull with its uncorrected curve, or the sentence why it gives none."""

    run: Run
    included: bool
    reason: str
    curve: Curve | None
    refusal: str


def fitted(session: Session, row: DynoSession) -> list[FittedPull]:
    """Every pull of a session with its uncorrected curve; a run never changes, so curves are kept in memory."""
    found = []
    for one in dyno.runs_of(session, [row.id])[row.id]:
        key = (one.run.id, one.run.sha256)
        curve, refusal = _curves.get(key), ""
        if curve is None:
            try:
                curve = curve_of(channels.unpack(one.run.channels))
            except BadInput as error:
                refusal = error.sentence
            else:
                _keep(key, curve)
        found.append(FittedPull(one.run, one.included, one.reason, curve, refusal))
    return found


def _keep(key: tuple[int, str], curve: Curve) -> None:
    while len(_curves) >= _KEPT:
        _curves.pop(next(iter(_curves)))
    _curves[key] = curve


def factor(session: Session, row: DynoSession, standard: str | None = None) -> CorrectionFactor:
    """The session's factor under its own standard or another; Conflict when its air was not recorded."""
    vehicle = vehicles.vehicle(session, row.vehicle_id)
    found = session_factor(
        standard or row.correction_standard,
        pressure_hpa=row.pressure_hpa,
        temperature_c=row.temperature_c,
        relative_humidity_percent=row.relative_humidity_percent,
        diesel=vehicle.fuel == "diesel",
        boosted=vehicle.boosted,
    )
    if found is None:
        raise Conflict(
            "Ambient pressure or temperature of this session was not recorded, so it cannot be corrected; "
            "compare it uncorrected."
        )
    return found


def pulls_of(session: Session, row: DynoSession, standard: str | None = None) -> Pulls:
    """The pulls that count on their common grid, corrected; Conflict when none does."""
    curves = [one.curve for one in fitted(session, row) if one.included and one.curve is not None]
    if not curves:
        raise Conflict("No pull of this session counts; add pulls or take one in again.")
    by = factor(session, row, standard).factor
    pulls = on_common_grid(curves)
    return Pulls(pulls.speed_rpm, pulls.torque_nm * by, pulls.power_kw * by)


def spreads(session: Session, rows: Sequence[DynoSession]) -> dict[int, Spread]:
    """Session id → its own repeatability; sessions with fewer than two usable pulls are left out."""
    found = {}
    for row in rows:
        curves = [one.curve for one in fitted(session, row) if one.included and one.curve is not None]
        if len(curves) < 2:
            continue
        try:
            spread = repeatability(on_common_grid(curves)).spread
        except BadInput:
            continue
        if spread is not None:
            found[row.id] = spread
    return found


def history(session: Session, dyno_id: int, *, leave_out: Sequence[int] = ()) -> History | None:
    """The pooled repeatability of a dyno over all its sessions but those given."""
    rows = [row for row in dyno.sessions_of_dyno(session, dyno_id) if row.id not in leave_out]
    return pooled_history(list(spreads(session, rows).values()))
