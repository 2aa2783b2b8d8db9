"""How well pulls of one session repeat: level and shape apart, trend over the order."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import Spread, spread_of

Values = NDArray[np.float64]

# Below so many pulls the interval of a standard deviation is wider than a third to twice of it.
FEW_PULLS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Repeatability:
    """Figures of one session.

    level_percent : each pull's level against the session's mean, %. s_level_percent, s_shape_percent : standard
    deviations, None below two pulls. s_r : repeatability standard deviation of the level in kW at the mean peak, and
    r = 2.8 s_r, the largest difference to expect between two pulls in 95 of 100 cases (ISO 5725-6).
    trend_percent_per_pull : slope over the order of pulls; trend_p : its two-sided p value (None below three pulls).
    """

    count: int
    level_percent: tuple[float, ...]
    s_level_percent: float | None
    s_shape_percent: float | None
    s_r_kw: float | None
    r_kw: float | None
    trend_percent_per_pull: float | None
    trend_p: float | None
    spread: Spread | None
    sentence: str


def repeatability(pulls: Pulls) -> Repeatability:
    """Separate what moves whole pulls from what changes their shape."""
    relative = pulls.power_kw / pulls.power_kw.mean(axis=0) - 1.0
    levels = relative.mean(axis=1)
    n = pulls.count
    if n < 2:
        return Repeatability(
            n,
            (0.0,),
            None,
            None,
            None,
            None,
            None,
            None,
            None,
            "One pull tells nothing about repeatability; make at least three.",
        )
    level_variance = float(levels.var(ddof=1))
    shape = relative - levels[:, None]
    shape_variance = float((shape**2).sum() / ((n - 1) * shape.shape[1]))
    peak = float(pulls.power_kw.mean(axis=0).max())
    s_r = float(np.sqrt(level_variance)) * peak
    slope, p = _trend(levels) if n >= 3 else (None, None)
    return Repeatability(
        n,
        tuple(float(100 * v) for v in levels),
        float(100 * np.sqrt(level_variance)),
        float(100 * np.sqrt(shape_variance)),
        s_r,
        2.8 * s_r,
        None if slope is None else 100 * slope,
        p,
        spread_of(relative),
        _sentence(n, s_r, slope, p),
    )


def _trend(levels: Values) -> tuple[float, float]:
    """Slope per pull and its p value by ordinary least squares."""
    from scipy import stats

    order = np.arange(len(levels), dtype=np.float64)
    if np.ptp(levels) == 0:
        return 0.0, 1.0
    found = stats.linregress(order, levels)
    return float(found.slope), float(found.pvalue)


def deviation_interval(s: float, n: int) -> tuple[float, float]:
    """The 95 % interval of the true standard deviation when n values gave s: s √((n−1)/χ²), normal distribution.

    >>> [round(one, 3) for one in deviation_interval(1.0, 3)]
    [0.521, 6.285]
    """
    from scipy.special import chdtri

    low, high = (s * float(np.sqrt((n - 1) / chdtri(n - 1, tail))) for tail in (0.025, 0.975))
    return low, high


def _sentence(n: int, s_r: float, slope: float | None, p: float | None) -> str:
    text = f"{n} pulls repeat to r = {2.8 * s_r:.1f} kW at the peak (two pulls differ by less in 95 of 100 cases)."
    if n < FEW_PULLS and s_r > 0:
        low, high = deviation_interval(2.8 * s_r, n)
        text += f" From so few pulls r is only known to lie between {low:.1f} and {high:.1f} kW."
    if slope is not None and p is not None and p < 0.05:
        direction = "fall" if slope < 0 else "rise"
        percent = abs(100 * slope)
        text += (
            f" They {direction} by {percent:.2f} % from pull to pull: heat soak or a car not yet warm; let it settle."
        )
    return text
