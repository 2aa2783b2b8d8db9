"""A pull as a curve over engine speed: its sweep fitted on a uniform grid, and pulls on a common one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.slips import power_kw as power_of
from app.calc.dyno.slips import torque_nm as torque_from
from app.calc.dyno.sweep import SHORTEST_RPM, find_sweep
from app.errors import BadInput

Values = NDArray[np.float64]

STEP_RPM = 25.0
HALF_WIDTH_RPM = 110.0
MOST_SPEEDS = 4000


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Torque and power over a uniform engine-speed grid; float64, shape (n,) each."""

    speed_rpm: Values
    torque_nm: Values
    power_kw: Values


def torque_of(channels: Mapping[str, Values]) -> tuple[Values, Values]:
    """Engine speed and torque of a pull without the samples where one is missing; BadInput when neither is known."""
    known = _known(channels)
    return channels["engine_speed_rpm"][known], _torque(channels)[known]


def _known(channels: Mapping[str, Values]) -> NDArray[np.bool_]:
    """Which samples have both engine speed and torque."""
    if "engine_speed_rpm" not in channels:
        raise BadInput("This pull has no engine speed; a curve needs it.")
    known: NDArray[np.bool_] = np.isfinite(channels["engine_speed_rpm"]) & np.isfinite(_torque(channels))
    return known


def _torque(channels: Mapping[str, Values]) -> Values:
    if "torque_nm" in channels:
        return channels["torque_nm"]
    if "power_kw" not in channels:
        raise BadInput("This pull has neither torque nor power.")
    return torque_from(channels["power_kw"], channels["engine_speed_rpm"])


def curve_of(channels: Mapping[str, Values], *, factor: float = 1.0) -> Curve:
    """Fit a pull on multiples of 25 rpm within its sweep.

    Local quadratic least squares with tricube weights in the speed domain (Savitzky and Golay, Anal. Chem. 36 (1964)
    1627, for unequal spacing): it follows the curve without the swings of a spline. `factor` is the correction
    factor that the result is multiplied by. Raises BadInput when the recording holds no sweep.
    """
    speed, torque = torque_of(channels)
    sweep = find_sweep(speed, torque)
    x, y = speed[sweep.first : sweep.last], torque[sweep.first : sweep.last]
    grid = np.arange(np.ceil(x.min() / STEP_RPM), np.floor(x.max() / STEP_RPM) + 1) * STEP_RPM
    fitted = local_fit(x, y, grid) * factor
    return Curve(grid, fitted, power_of(fitted, grid))


def local_fit(x: Values, y: Values, at: Values, half_width: float = HALF_WIDTH_RPM) -> Values:
    """Local quadratic fit of y(x), (n,), at the points `at`, (m,); each window is widened until it holds five speeds.

    Samples at one speed count as their mean with their number as weight; of more than 4,000 speeds, those within
    1 rpm of each other do. Raises BadInput below three speeds.

    >>> x = np.linspace(0.0, 1000.0, 201)
    >>> bool(np.allclose(local_fit(x, x**2, np.array([300.0])), 90000.0))
    True
    """
    speeds, mean, count = _averaged(x, y, x)
    if speeds.size > MOST_SPEEDS:
        speeds, mean, count = _averaged(x, y, np.round(x))
    if speeds.size < 3:
        raise BadInput("A curve needs at least three different engine speeds.")
    nearest = _windows(speeds, at, half_width)
    distance = np.abs(at[:, None] - speeds[nearest])
    fifth = np.partition(distance, min(5, speeds.size) - 1, axis=1)[:, min(5, speeds.size) - 1]
    width = np.maximum(half_width, 1.05 * fifth)[:, None]
    weight = np.clip(1.0 - (distance / width) ** 3, 0.0, None) ** 3 * count[nearest]
    u = (speeds[nearest] - at[:, None]) / width
    moments = [np.sum(weight * u**k, axis=1) for k in range(5)]
    sums = [np.sum(weight * u**k * mean[nearest], axis=1) for k in range(3)]
    left = np.stack([np.stack([moments[i + j] for j in range(3)], axis=-1) for i in range(3)], axis=-2)
    solved = np.linalg.solve(left, np.stack(sums, axis=-1)[..., None])[..., 0]
    return _without_swing(solved[:, 0], solved[:, 2], u, mean[nearest], weight > 0)


def _without_swing(fitted: Values, curvature: Values, u: Values, mean: Values, inside: NDArray[np.bool_]) -> Values:
    """Between two neighbouring samples a parabola rises above both by its curvature times (gap / 2)² at most; what
    exceeds that is the swing of a quadratic beside a step, and is cut."""
    inside[:, 1:] |= inside[:, :-1].copy()
    inside[:, :-1] |= inside[:, 1:].copy()
    gap = np.max(np.diff(u, axis=1) * (inside[:, 1:] & inside[:, :-1]), axis=1)
    room = np.abs(curvature) * gap**2 / 4
    lowest = np.where(inside, mean, np.inf).min(axis=1)
    highest = np.where(inside, mean, -np.inf).max(axis=1)
    result: Values = np.clip(fitted, lowest - room, highest + room)
    return result


def _averaged(x: Values, y: Values, by: Values) -> tuple[Values, Values, NDArray[np.int64]]:
    """Mean speed, mean value and number of the samples of each group, in order of speed."""
    _, place, count = np.unique(by, return_inverse=True, return_counts=True)
    return np.bincount(place, weights=x) / count, np.bincount(place, weights=y) / count, count


def _windows(speeds: Values, at: Values, half_width: float) -> NDArray[np.intp]:
    """Indexes into the sorted speeds of the samples around each point, (m, w): all within the half width and one more
    on either side, five on either side where they lie apart. With windows of one size all points are fitted at once."""
    low = np.searchsorted(speeds, at - half_width)
    high = np.searchsorted(speeds, at + half_width)
    size = min(speeds.size, max(10, int((high - low).max()) + 2))
    middle = np.searchsorted(speeds, at) - size // 2
    first = np.clip(np.where(high - low >= 5, low - 1, middle), 0, speeds.size - size)
    windows: NDArray[np.intp] = first[:, None] + np.arange(size)[None, :]
    return windows


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
        raise BadInput("No pull counts in the dyno session; add pulls or take one in again.")
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


def sweep_rows(channels: Mapping[str, Values]) -> tuple[slice, str]:
    """The rows of a recording from which its curve is made, and what was cut in words; BadInput without a sweep."""
    speed, torque = torque_of(channels)
    sweep = find_sweep(speed, torque)
    rows = np.flatnonzero(_known(channels))
    return slice(int(rows[sweep.first]), int(rows[sweep.last - 1]) + 1), sweep.cut


def in_sweep(channels: Mapping[str, Values]) -> dict[str, Values]:
    """A recording cut to its full-load sweep; all of it where no sweep is found.

    Limits for full load are not meant for the lift-off, where an engine on the overrun runs lean.
    """
    try:
        kept, _ = sweep_rows(channels)
    except BadInput:
        return dict(channels)
    return {name: values[kept] for name, values in channels.items()}
