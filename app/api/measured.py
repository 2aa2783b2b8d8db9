"""What the pulls of a session come to, as JSON: mean curve, repeatability, limits."""

import math

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from app.api.model import ApiOut
from app.calc.dyno.curve import in_sweep
from app.calc.dyno.limits import check_limits
from app.calc.dyno.mean_band import mean_band
from app.calc.dyno.repeatability import Repeatability, repeatability
from app.record import channels, dyno, dyno_curves, gains, limits, vehicles
from app.record.tables import DynoSession


class MeanCurveOut(ApiOut):
    """Arrays over the same engine speeds; the half widths cover the whole curve at once with 95 % confidence."""

    speed_rpm: list[float]
    power_kw: list[float]
    torque_nm: list[float]
    half_power_kw: list[float] | None
    half_torque_nm: list[float] | None


class RepeatabilityOut(ApiOut):
    """ISO 5725: r is the largest difference to expect between two such pulls in 95 of 100 cases."""

    pulls: int
    level_percent: list[float]
    s_level_percent: float | None
    s_shape_percent: float | None
    s_r_kw: float | None
    r_kw: float | None
    trend_percent_per_pull: float | None
    trend_p: float | None


class FindingOut(ApiOut):
    """`state`: crossed, within (where it was observed), or not observed; never "passed"."""

    limit: str
    state: str
    sentence: str
    pulls: list[str]


class MeasuredOut(ApiOut):
    """`curve` is null when no pull counts; `refusal` then says why."""

    correction_factor: float | None
    correction_factor_low: float | None
    correction_factor_high: float | None
    corrected_by_dyno: bool
    warnings: list[str]
    refusal: str | None
    curve: MeanCurveOut | None
    repeatability: RepeatabilityOut | None
    history_sessions: int
    limits: list[FindingOut]


def numbers(values: NDArray[np.float64]) -> list[float]:
    """A curve with six significant digits, as fine as any dyno tells."""
    return [float(f"{value:.6g}") for value in values]


def known(values: NDArray[np.float64] | None) -> list[float] | None:
    """A band, or null where it is not known; JSON has no infinity."""
    return None if values is None or not np.isfinite(values).all() else numbers(values)


def finite(value: float | None) -> float | None:
    """A half width, or null where it is not known."""
    return value if value is not None and math.isfinite(value) else None


def measured_out(session: Session, row: DynoSession) -> MeasuredOut:
    side = gains.side(session, row, None)
    history = dyno_curves.history(session, row.dyno_id, leave_out=[row.id], until=row.measured_at)
    curve, repeated = None, None
    if side.pulls is not None:
        mean, band = side.pulls.mean, mean_band(side.pulls, history=history)
        curve = MeanCurveOut(
            speed_rpm=numbers(mean.speed_rpm),
            power_kw=numbers(mean.power_kw),
            torque_nm=numbers(mean.torque_nm),
            half_power_kw=known(band.half_kw),
            half_torque_nm=known(band.half_nm),
        )
        repeated = _repeatability(repeatability(side.pulls))
    factor = side.factor
    return MeasuredOut(
        correction_factor=None if factor is None else factor.factor,
        correction_factor_low=None if factor is None else factor.low,
        correction_factor_high=None if factor is None else factor.high,
        corrected_by_dyno=side.by_dyno,
        warnings=[] if factor is None else list(factor.flags),
        refusal=side.refusal or None,
        curve=curve,
        repeatability=repeated,
        history_sessions=0 if history is None else history.sessions,
        limits=_limits(session, row),
    )


def _repeatability(found: Repeatability) -> RepeatabilityOut:
    return RepeatabilityOut(
        pulls=found.count,
        level_percent=list(found.level_percent),
        s_level_percent=found.s_level_percent,
        s_shape_percent=found.s_shape_percent,
        s_r_kw=found.s_r_kw,
        r_kw=found.r_kw,
        trend_percent_per_pull=found.trend_percent_per_pull,
        trend_p=found.trend_p,
    )


def _limits(session: Session, row: DynoSession) -> list[FindingOut]:
    bounds = [limits.to_check(one) for one in vehicles.limits(session, row.vehicle_id)]
    runs = dyno.runs_of(session, [row.id])[row.id] if bounds else []
    pulls = [(str(r.run.position), in_sweep(channels.unpack(r.run.channels))) for r in runs if r.included]
    return [
        FindingOut(
            limit=one.limit.text,
            state=one.state,
            sentence=one.sentence,
            pulls=[finding.sentence for finding in one.findings],
        )
        for one in check_limits(bounds, pulls)
    ]
