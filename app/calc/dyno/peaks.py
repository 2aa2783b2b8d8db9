"""Where each session's own curve is highest, whether or not the other session reaches that speed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain, Peak, ReadOff, at_speed, peak
from app.calc.dyno.history import History
from app.calc.dyno.mean_band import mean_band

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CurvePeak:
    """The highest point of one session's mean curve over all it covers; half: of its band there, None when unknown.

    at_end : it is the first or the last speed of the curve, so that the engine may give more beyond.
    shared : the other session covers that speed too, so that a gain can be told there.
    """

    at: Peak
    half: float | None
    at_end: bool
    shared: bool


@dataclass(frozen=True, slots=True)
class GainAtPeak:
    """The gain where the power or the torque after is highest: read off there or, where only that session gets so far
    (`shared` False), at the nearest speed that both cover."""

    read: ReadOff
    peak_rpm: float
    shared: bool


def curve_peaks(pulls: Pulls, result: Gain, *, history: History | None = None) -> tuple[CurvePeak, CurvePeak]:
    """The peaks (power in kW, torque in N·m) of one session of a gain, over the session's own range of speeds."""
    mean, band = pulls.mean, mean_band(pulls, history=history)
    return _peak(mean.power_kw, pulls.speed_rpm, band.half_kw, result), _peak(
        mean.torque_nm, pulls.speed_rpm, band.half_nm, result
    )


def gain_at_peak(result: Gain, after: Pulls, *, of_torque: bool = False) -> GainAtPeak:
    """The gain at the power peak, or at the torque peak, of the session after."""
    curve = after.mean.torque_nm if of_torque else after.mean.power_kw
    at = float(after.speed_rpm[int(np.argmax(curve))])
    low, high = float(result.speed_rpm[0]), float(result.speed_rpm[-1])
    return GainAtPeak(at_speed(result, min(max(at, low), high)), at, low <= at <= high)


def _peak(curve: Values, speed: Values, half: Values | None, result: Gain) -> CurvePeak:
    found, k = peak(curve, speed, half), int(np.argmax(curve))
    return CurvePeak(
        at=found,
        half=None if half is None else float(half[k]),
        at_end=k in (0, curve.size - 1),
        shared=bool(result.speed_rpm[0] <= found.speed_rpm <= result.speed_rpm[-1]),
    )
