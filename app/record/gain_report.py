"""Everything that is told of the gain between two sessions: read-offs, peaks, averages, shares, drivetrain loss."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.correction import standard_words
from app.calc.dyno.drivetrain_loss import DrivetrainLoss, apparent_loss
from app.calc.dyno.gain import (
    BandAverage,
    Gain,
    ReadOff,
    Shares,
    at_speed,
    band_average,
    shares,
    verdict,
)
from app.calc.dyno.peaks import CurvePeak, GainAtPeak, curve_peaks, gain_at_peak
from app.errors import BadInput
from app.record import dyno
from app.record.gains import Compared


@dataclass(frozen=True, slots=True)
class GainReport:
    """Figures of a gain; the peaks are those of the mean curves before and after, over all that each covers."""

    verdict: str
    read_offs: tuple[ReadOff, ...]
    bands: tuple[BandAverage, ...]
    power: tuple[CurvePeak, CurvePeak]
    torque: tuple[CurvePeak, CurvePeak]
    at_peak: GainAtPeak
    at_torque_peak: GainAtPeak
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
    pulls = found.before.pulls, found.after.pulls
    if result is None or pulls[0] is None or pulls[1] is None:
        raise BadInput("These sessions give no gain.")
    before, after = (curve_peaks(one, result, history=found.history) for one in pulls if one is not None)
    loss, note = _loss(session, found, before[0])
    return GainReport(
        verdict=verdict(result),
        read_offs=tuple(at_speed(result, speed) for speed in speeds or usual_speeds(result)),
        bands=tuple(band_average(result, *band) for band in bands or usual_bands(result)),
        power=(before[0], after[0]),
        torque=(before[1], after[1]),
        at_peak=gain_at_peak(result, pulls[1]),
        at_torque_peak=gain_at_peak(result, pulls[1], of_torque=True),
        shares=shares(result),
        loss=loss,
        loss_note=note,
    )


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
