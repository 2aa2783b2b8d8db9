"""Everything that is told of the gain between two sessions: read-offs, peaks, averages, shares, drivetrain loss."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from app.calc.dyno.correction import standard_words
from app.calc.dyno.drivetrain_loss import DrivetrainLoss, apparent_loss
from app.calc.dyno.gain import (
    BandAverage,
    Gain,
    Peak,
    ReadOff,
    Shares,
    at_speed,
    band_average,
    peak,
    shares,
    verdict,
)
from app.calc.dyno.history import History
from app.calc.dyno.mean_band import mean_band
from app.errors import BadInput
from app.record import dyno
from app.record.gains import Compared, Side

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CurvePeak:
    """The peak of one mean curve within the common range and the half width of its band there (None when unknown).

    at_end : it is the first or the last speed of the range, so that the curve may go higher beyond.
    """

    at: Peak
    half: float | None
    at_end: bool


@dataclass(frozen=True, slots=True)
class GainReport:
    """Figures of a gain; the peaks are those of the mean curves before and after."""

    verdict: str
    read_offs: tuple[ReadOff, ...]
    bands: tuple[BandAverage, ...]
    power: tuple[CurvePeak, CurvePeak]
    torque: tuple[CurvePeak, CurvePeak]
    at_peak: ReadOff
    shares: Shares | None
    loss: DrivetrainLoss | None
    loss_note: str


def usual_speeds(result: Gain) -> tuple[float, ...]:
    """Whole thousands and halves within the range, when nobody asked for others."""
    first = np.ceil(result.speed_rpm[0] / 500) * 500
    return tuple(float(v) for v in np.arange(first, result.speed_rpm[-1] + 1, 500))


def usual_bands(result: Gain) -> tuple[tuple[float, float], ...]:
    """The whole range, and its upper half where a driver at full load stays."""
    low, high = float(result.speed_rpm[0]), float(result.speed_rpm[-1])
    middle = float(np.round((low + high) / 200) * 100)
    return ((low, high), (middle, high))


def report(
    session: Session, found: Compared, *, speeds: Sequence[float] = (), bands: Sequence[tuple[float, float]] = ()
) -> GainReport:
    """The figures of a comparison that has a result; BadInput for a speed or band outside what both sessions cover."""
    result = found.result
    if result is None:
        raise BadInput("These sessions give no gain.")
    halves = [_halves(result, side, found.history) for side in (found.before, found.after)]
    to_torque = 30000 / (np.pi * result.speed_rpm)
    curves = (result.before, result.after)
    power = [_peak(c.power_kw, result.speed_rpm, h) for c, h in zip(curves, halves, strict=True)]
    torque = [
        _peak(c.torque_nm, result.speed_rpm, None if h is None else h * to_torque)
        for c, h in zip(curves, halves, strict=True)
    ]
    loss, note = _loss(session, found, power[0])
    return GainReport(
        verdict=verdict(result),
        read_offs=tuple(at_speed(result, speed) for speed in speeds or usual_speeds(result)),
        bands=tuple(band_average(result, *band) for band in bands or usual_bands(result)),
        power=(power[0], power[1]),
        torque=(torque[0], torque[1]),
        at_peak=at_speed(result, power[1].at.speed_rpm),
        shares=shares(result),
        loss=loss,
        loss_note=note,
    )


def _halves(result: Gain, side: Side, history: History | None) -> Values | None:
    """Half widths of the side's own mean curve over the range of the gain, kW."""
    if side.pulls is None:
        return None
    cut = side.pulls.within(float(result.speed_rpm[0]), float(result.speed_rpm[-1]))
    return mean_band(cut, history=history).half_kw


def _peak(curve: Values, speed: Values, half: Values | None) -> CurvePeak:
    found = peak(curve, speed, half)
    at = int(np.argmax(curve))
    return CurvePeak(found, None if half is None else float(half[at]), at in (0, curve.size - 1))


def _loss(session: Session, found: Compared, before: CurvePeak) -> tuple[DrivetrainLoss | None, str]:
    """The apparent drivetrain loss of the pulls before, where they say anything about it."""
    vehicle, side = found.vehicle, found.before
    if vehicle.rated_power_kw is None:
        return None, "Drivetrain loss is not told: no rated power is on record for this car."
    if side.measured_at == "engine":
        return None, "Drivetrain loss is not told: the dyno states this power at the engine."
    attributed = dyno.attributions(session, [side.row.id])[side.row.id]
    if any(one.revision_id is not None for one in attributed.values()):
        return None, "Drivetrain loss is told for pulls on stock only: the rated power is that of the stock engine."
    axles = vehicle.driven_axles
    loss = apparent_loss(
        before.at.value,
        vehicle.rated_power_kw,
        driven_axles="front" if axles == "front" else "rear" if axles == "rear" else "all",
        rated_standard=vehicle.rated_standard,
        wheel_standard=None if found.standard is None else standard_words(found.standard),
        wheel_uncertainty_kw=before.half,
    )
    return loss, ""
