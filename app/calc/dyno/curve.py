"""A pull as a curve over engine speed: the sweep found in the recording, fitted on a uniform grid."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.slips import power_kw as power_of
from app.errors import BadInput

Values = NDArray[np.float64]

STEP_RPM = 25.0
HALF_WIDTH_RPM = 110.0
SHORTEST_RPM = 500.0
KW_PER_NM_RPM = np.pi / 30000.0


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """The samples of a recording that count: [first, last), and what was cut in words."""

    first: int
    last: int
    cut: str


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Torque and power over a uniform engine-speed grid; float64, shape (n,) each."""

    speed_rpm: Values
    torque_nm: Values
    power_kw: Values


def find_sweep(speed_rpm: Values, torque_nm: Values) -> Sweep:
    """The full-load sweep: the longest stretch of rising speed, without the start and the lift-off.

    The start is cut until the speed rises at 30 % of the stretch's median rate; the end where the rate falls below
    that or the torque drops below 60 % of what it was 150 rpm earlier (lift-off). Common practice, no source.
    Raises BadInput when no stretch of 500 rpm rises.
    """
    smooth = np.convolve(np.pad(speed_rpm, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    rate = np.gradient(smooth)
    first, last = _longest_rise(rate > 0)
    if last - first < 8 or speed_rpm[last - 1] - speed_rpm[first] < SHORTEST_RPM:
        raise BadInput(
            "No pull was found in this recording: the engine speed never rises by 500 rpm in one go. "
            "Check that the file holds a full-load sweep."
        )
    enough = 0.3 * float(np.median(rate[first:last]))
    begin, end = first, last
    while begin < last - 8 and rate[begin] < enough:
        begin += 1
    while end > begin + 8 and (rate[end - 1] < enough or _lifted(speed_rpm, torque_nm, begin, end - 1)):
        end -= 1
    cut = f"{begin} samples before and {len(speed_rpm) - end} after the sweep are left out"
    return Sweep(begin, end, cut)


def _longest_rise(rising: NDArray[np.bool_]) -> tuple[int, int]:
    """The longest stretch of True that lets up to three samples of False pass."""
    best, start, gap = (0, 0), 0, 4
    for k, up in enumerate(rising.tolist()):
        if up:
            if gap > 3:
                start = k
            gap = 0
            if k + 1 - start > best[1] - best[0]:
                best = (start, k + 1)
        else:
            gap += 1
    return best


def _lifted(speed: Values, torque: Values, begin: int, k: int) -> bool:
    before = np.searchsorted(np.maximum.accumulate(speed[begin : k + 1]), speed[k] - 150.0) + begin
    return bool(torque[k] < 0.6 * torque[min(before, k)])


def torque_of(channels: Mapping[str, Values]) -> tuple[Values, Values]:
    """Engine speed and torque of a pull without the samples where one is missing; BadInput when neither is known."""
    speed = channels.get("engine_speed_rpm")
    if speed is None:
        raise BadInput("This pull has no engine speed; a curve needs it.")
    torque = channels.get("torque_nm")
    if torque is None and "power_kw" in channels:
        with np.errstate(divide="ignore", invalid="ignore"):
            torque = np.where(speed > 0, channels["power_kw"] / (KW_PER_NM_RPM * speed), np.nan)
    if torque is None:
        raise BadInput("This pull has neither torque nor power.")
    good = np.isfinite(speed) & np.isfinite(torque)
    return speed[good], torque[good]


def curve_of(channels: Mapping[str, Values], *, factor: float = 1.0) -> Curve:
    """Fit a pull on multiples of 25 rpm within its sweep.

    Local quadratic least squares with tricube weights in the speed domain (Savitzky and Golay, Anal. Chem. 36 (1964)
    1627, for unequal spacing): it follows the curve without the overshoot of a spline. `factor` is the correction
    factor that the result is multiplied by.
    """
    speed, torque = torque_of(channels)
    sweep = find_sweep(speed, torque)
    x, y = speed[sweep.first : sweep.last], torque[sweep.first : sweep.last]
    grid = np.arange(np.ceil(x.min() / STEP_RPM), np.floor(x.max() / STEP_RPM) + 1) * STEP_RPM
    fitted = local_fit(x, y, grid) * factor
    return Curve(grid, fitted, power_of(fitted, grid))


def local_fit(x: Values, y: Values, at: Values, half_width: float = HALF_WIDTH_RPM) -> Values:
    """Local quadratic fit of y(x) at the points `at`; each window is widened until it holds eight samples.

    >>> x = np.linspace(0.0, 1000.0, 201)
    >>> bool(np.allclose(local_fit(x, x**2, np.array([300.0])), 90000.0))
    True
    """
    distance = np.abs(at[:, None] - x[None, :])
    eighth = np.sort(distance, axis=1)[:, min(8, x.size) - 1]
    width = np.maximum(half_width, 1.05 * eighth)[:, None]
    weight = np.clip(1.0 - (distance / width) ** 3, 0.0, None) ** 3
    u = (x[None, :] - at[:, None]) / width
    moments = [np.sum(weight * u**k, axis=1) for k in range(5)]
    sums = [np.sum(weight * u**k * y[None, :], axis=1) for k in range(3)]
    left = np.stack([np.stack([moments[i + j] for j in range(3)], axis=-1) for i in range(3)], axis=-2)
    solved = np.linalg.solve(left + 1e-12 * np.eye(3), np.stack(sums, axis=-1)[..., None])
    result: Values = solved[:, 0, 0]
    return result


@dataclass(frozen=True, slots=True, eq=False)
class Pulls:
    """The pulls of one session on one grid: speed (m,), torque and power (n, m)."""

    speed_rpm: Values
    torque_nm: Values
    power_kw: Values

    @property
    def count(self) -> int:
        return len(self.torque_nm)

    def within(self, low: float, high: float) -> "Pulls":
        """The part of the grid from `low` to `high`."""
        keep = (self.speed_rpm >= low - 1e-9) & (self.speed_rpm <= high + 1e-9)
        return Pulls(self.speed_rpm[keep], self.torque_nm[:, keep], self.power_kw[:, keep])

    @property
    def mean(self) -> Curve:
        return Curve(self.speed_rpm, self.torque_nm.mean(axis=0), self.power_kw.mean(axis=0))


def on_common_grid(curves: Sequence[Curve]) -> Pulls:
    """Curves cut to the range that all of them cover; BadInput when they share fewer than 500 rpm."""
    if not curves:
        raise BadInput("No pull counts in this session; add pulls or take one in again.")
    low = max(float(curve.speed_rpm[0]) for curve in curves)
    high = min(float(curve.speed_rpm[-1]) for curve in curves)
    if high - low < SHORTEST_RPM:
        raise BadInput(
            f"The pulls share only {max(0.0, high - low):.0f} rpm; exclude the one that covers another range, "
            "with a reason."
        )
    keep = [(c.speed_rpm >= low) & (c.speed_rpm <= high) for c in curves]
    grid = np.arange(round(low / STEP_RPM), round(high / STEP_RPM) + 1, dtype=np.float64) * STEP_RPM
    torque = np.stack([c.torque_nm[k] for c, k in zip(curves, keep, strict=True)])
    return Pulls(grid, torque, np.stack([c.power_kw[k] for c, k in zip(curves, keep, strict=True)]))


def in_sweep(channels: Mapping[str, Values]) -> dict[str, Values]:
    """A recording cut to its full-load sweep; all of it where no sweep is found.

    Limits for full load are not meant for the lift-off, where an engine on the overrun runs lean.
    """
    speed, torque = channels.get("engine_speed_rpm"), channels.get("torque_nm", channels.get("power_kw"))
    if speed is None or torque is None or not (np.isfinite(speed).all() and np.isfinite(torque).all()):
        return dict(channels)
    try:
        sweep = find_sweep(speed, torque)
    except BadInput:
        return dict(channels)
    return {name: values[sweep.first : sweep.last] for name, values in channels.items()}
