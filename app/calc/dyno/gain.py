"""What a change did: the difference of two sessions' mean curves with a band that covers the whole curve at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Curve, Pulls
from app.calc.dyno.history import History
from app.calc.dyno.simultaneous import Band, Sample, simultaneous_band
from app.calc.number_text import counted, plain, rpm
from app.errors import BadInput

Values = NDArray[np.float64]

ALPHA = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Gain:
    """The gain over the speeds both sessions cover; shape (m,) throughout.

    se_* : standard error, None when there is nothing to estimate it from; times `threshold` it is the half width of the
    simultaneous 95 % band. dof : of the threshold. method, warnings : sentences.
    """

    speed_rpm: Values
    before: Curve
    after: Curve
    gain_kw: Values
    gain_nm: Values
    se_kw: Values | None
    se_nm: Values | None
    threshold: float | None
    dof: float
    used_history: bool
    method: str
    warnings: tuple[str, ...]

    @property
    def half_kw(self) -> Values | None:
        """Half width of the band of the power gain, kW."""
        return None if self.se_kw is None or self.threshold is None else self.threshold * self.se_kw

    @property
    def half_nm(self) -> Values | None:
        """Half width of the band of the torque gain, N·m."""
        return None if self.se_nm is None or self.threshold is None else self.threshold * self.se_nm


def gain(before: Pulls, after: Pulls, *, history: History | None = None) -> Gain:
    """The gain from `before` to `after` with its band.

    Variances are pooled over both sessions and, where the dyno has a history, with that: every past session adds
    degrees of freedom, unless these sessions are significantly noisier (F test, 5 %) or have too few pulls to show
    that they are; then their own variance counts alone and a warning says so. The band holds what does not repeat
    within a session; what changed between the two sessions (straps, tyres, fuel, weather) is no part of it. Raises
    BadInput when they share fewer than 500 rpm.
    """
    low = max(before.speed_rpm[0], after.speed_rpm[0])
    high = min(before.speed_rpm[-1], after.speed_rpm[-1])
    if high - low < 500:
        raise BadInput(f"The two sessions share only {max(0.0, float(high - low)):.0f} rpm; no gain can be told.")
    a, b = before.within(float(low), float(high)), after.within(float(low), float(high))
    difference = b.power_kw.mean(axis=0) - a.power_kw.mean(axis=0)
    torque = b.torque_nm.mean(axis=0) - a.torque_nm.mean(axis=0)
    noise = _noise(a, b, history)
    se = None if noise.band is None else noise.band.se
    to_torque = 30000 / (np.pi * a.speed_rpm)
    return Gain(
        speed_rpm=a.speed_rpm,
        before=a.mean,
        after=b.mean,
        gain_kw=difference,
        gain_nm=torque,
        se_kw=se,
        se_nm=None if se is None else se * to_torque,
        threshold=None if noise.band is None else noise.band.threshold,
        dof=0.0 if noise.band is None else noise.band.dof,
        used_history=noise.band is not None and noise.band.used_history,
        method=noise.method,
        warnings=noise.warnings,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Noise:
    band: Band | None
    method: str
    warnings: tuple[str, ...]


def _sample(pulls: Pulls) -> Sample:
    """Residuals about the session's mean, relative to it (to 5 % of its peak where it is smaller), and what turns their
    variance into that of the mean, kW²."""
    mean = pulls.power_kw.mean(axis=0)
    scale = np.maximum(mean, 0.05 * np.abs(mean).max())
    return Sample((pulls.power_kw - mean) / scale, scale**2 / pulls.count)


def _noise(a: Pulls, b: Pulls, history: History | None) -> _Noise:
    band = simultaneous_band([_sample(a), _sample(b)], history, alpha=ALPHA)
    if band is None:
        method = "Nothing tells how these pulls scatter: the uncertainty is not known."
        return _Noise(None, method, ("Make at least three pulls each; one pull proves nothing.",))
    warnings = []
    if any(band.noisier):
        which = "These pulls" if all(band.noisier) else f"The pulls {'before' if band.noisier[0] else 'after'}"
        warnings.append(
            f"{which} scatter significantly more than this dyno's history; their own scatter is used alone for them."
        )
    if band.unequal:
        warnings.append("The two sessions scatter differently; each counts with its own scatter.")
    if min(a.count, b.count) > 1 and max(a.count, b.count) > 2 * min(a.count, b.count):
        warnings.append(
            f"{counted(min(a.count, b.count), 'pull')} against {max(a.count, b.count)}: the band takes both sessions "
            "to scatter alike unless they plainly differ, which few pulls cannot show; make as many in each."
        )
    if history is not None and not any(band.noisier):
        warnings.extend(_leaning(band))
    if a.count == 1 or b.count == 1:
        single = "each session is" if a.count == b.count == 1 else "one session is"
        warnings.append(f"Only one pull: {single} judged by other pulls' scatter.")
    return _Noise(band, _method(band, a.count + b.count, history), tuple(warnings))


def _leaning(band: Band) -> list[str]:
    """Why the dyno's history does not count, or not wholly."""
    if band.used_history and band.history_from is None:
        return []
    pulls = band.history_from
    enough = "" if pulls is None else f" From {pulls} pulls in each session on it counts wholly."
    if band.used_history:
        return [f"So few pulls hardly show whether they repeat as usual: the dyno's history counts in part.{enough}"]
    return [
        "So few pulls cannot show whether they repeat as this dyno usually does: its history is left out and their own "
        f"scatter is used alone.{enough}"
    ]


def _method(band: Band, pulls: int, history: History | None) -> str:
    source = f"the scatter of these {counted(pulls, 'pull')}"
    if band.used_history and history is not None:
        source = f"{source} and of {counted(history.sessions, 'earlier session')} on this dyno"
    freedom = counted(round(band.dof), "degree of freedom", "degrees of freedom")
    return f"Band from {source}, {freedom}. It covers the whole curve at once with 95 % confidence."


@dataclass(frozen=True, slots=True)
class ReadOff:
    """The gain at one speed, with the half width of the simultaneous band (None when unknown)."""

    speed_rpm: float
    before_kw: float
    after_kw: float
    gain_kw: float
    half_kw: float | None
    before_nm: float
    after_nm: float
    gain_nm: float
    half_nm: float | None


def at_speed(result: Gain, speed_rpm: float) -> ReadOff:
    """Interpolate on the grid; BadInput outside the common range."""
    grid = result.speed_rpm
    if not grid[0] <= speed_rpm <= grid[-1]:
        raise BadInput(
            f"{speed_rpm:,g} rpm lies outside what both sessions cover ({grid[0]:,.0f} to {rpm(float(grid[-1]))}).",
            field="at_rpm",
        )

    def value(curve: Values) -> float:
        return float(np.interp(speed_rpm, grid, curve))

    half_kw, half_nm = result.half_kw, result.half_nm
    return ReadOff(
        speed_rpm,
        value(result.before.power_kw),
        value(result.after.power_kw),
        value(result.gain_kw),
        None if half_kw is None else value(half_kw),
        value(result.before.torque_nm),
        value(result.after.torque_nm),
        value(result.gain_nm),
        None if half_nm is None else value(half_nm),
    )


@dataclass(frozen=True, slots=True)
class BandAverage:
    """Mean gain over a band of speeds with the half width of its own 95 % interval (not simultaneous)."""

    low_rpm: float
    high_rpm: float
    gain_kw: float
    half_kw: float | None
    gain_nm: float
    half_nm: float | None


def band_average(result: Gain, low_rpm: float, high_rpm: float) -> BandAverage:
    """Average over the grid points of the band; the interval treats the error as fully shared along the curve,
    which can only make it wider."""
    from scipy.special import stdtrit

    keep = (result.speed_rpm >= low_rpm) & (result.speed_rpm <= high_rpm)
    if int(keep.sum()) < 2:
        raise BadInput("The band holds no part of the curve; choose one inside the common range.", field="band")
    factor = None if result.se_kw is None else float(stdtrit(result.dof, 1 - ALPHA / 2))

    def half(se: Values | None) -> float | None:
        return None if se is None or factor is None else factor * float(se[keep].mean())

    return BandAverage(
        low_rpm,
        high_rpm,
        float(result.gain_kw[keep].mean()),
        half(result.se_kw),
        float(result.gain_nm[keep].mean()),
        half(result.se_nm),
    )


@dataclass(frozen=True, slots=True)
class Shares:
    """Parts of the common range, 0 … 1: surely better, within what repeats, surely worse."""

    better: float
    within: float
    worse: float


def shares(result: Gain) -> Shares | None:
    """None when there is no band."""
    half = result.half_kw
    if half is None:
        return None
    better = float((result.gain_kw > half).mean())
    worse = float((result.gain_kw < -half).mean())
    return Shares(better, 1.0 - better - worse, worse)


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest point of a curve and the range of speeds that cannot be told apart from it."""

    value: float
    speed_rpm: float
    speed_low_rpm: float
    speed_high_rpm: float


def peak(curve: Values, speed_rpm: Values, half: Values | None) -> Peak:
    """Where the curve is highest; with a half width, every speed whose value lies within it may be the peak."""
    k = int(np.argmax(curve))
    near = curve >= curve[k] - (0.0 if half is None else float(half[k]))
    low, high = k, k
    while low > 0 and near[low - 1]:
        low -= 1
    while high < len(curve) - 1 and near[high + 1]:
        high += 1
    return Peak(float(curve[k]), float(speed_rpm[k]), float(speed_rpm[low]), float(speed_rpm[high]))


def verdict(result: Gain) -> str:
    """One honest sentence."""
    found = shares(result)
    k = int(np.argmax(np.abs(result.gain_kw)))
    largest, at = float(result.gain_kw[k]), float(result.speed_rpm[k])
    if found is None:
        figure = f"{plain(largest, 1, sign=True)} kW at {rpm(at)}"
        return f"The curves differ by up to {figure}, but the uncertainty is not known."
    half = result.half_kw
    assert half is not None
    figure = f"{plain(largest, 1, sign=True)} ± {plain(float(half[k]), 1)} kW at {rpm(at)}"
    if found.better == 0 and found.worse == 0:
        return f"No change is proven: the largest difference, {figure}, is within what these pulls repeat to."
    parts = []
    if found.better:
        parts.append(f"more power over {100 * found.better:.0f} % of the common range")
    if found.worse:
        parts.append(f"less over {100 * found.worse:.0f} %")
    return f"Proven: {' and '.join(parts)}; the largest change is {figure}."
