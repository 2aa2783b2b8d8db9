"""Fuel consumption before and after, over repeated trials, with the interval of the difference."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from app.calc.number_text import counted
from app.calc.units import convert
from app.errors import BadInput

Verdict = Literal["less", "more", "not resolved", "too few trials"]


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial: distance driven and fuel used."""

    distance_km: float
    fuel_l: float

    def __post_init__(self) -> None:
        if not (self.distance_km > 0 and self.fuel_l > 0):
            raise BadInput("Distance and fuel must be above 0.", field="distance_km")

    @property
    def l_per_100km(self) -> float:
        return 100 * self.fuel_l / self.distance_km


@dataclass(frozen=True, slots=True)
class EconomyChange:
    """Mean consumption before and after in L/100 km, the change with its Welch interval; ends None when not known."""

    before_l_per_100km: float
    after_l_per_100km: float
    change_l_per_100km: float
    low: float | None
    high: float | None
    degrees_of_freedom: float | None
    level: float
    verdict: Verdict
    sentence: str

    @property
    def change_percent(self) -> float:
        return 100 * self.change_l_per_100km / self.before_l_per_100km

    def in_unit(self, symbol: str) -> tuple[float, float]:
        """Both means in another unit of consumption, such as "mpg (US)".

        A mean of distances per volume would weigh the trials differently, so the means are converted, not averaged
        again.
        """
        return (
            convert(self.before_l_per_100km, "L/100 km", symbol),
            convert(self.after_l_per_100km, "L/100 km", symbol),
        )


def economy_change(before: Sequence[Trial], after: Sequence[Trial], *, level: float = 0.95) -> EconomyChange:
    """Compare two sets of trials by Welch's interval (unequal variances, Satterthwaite's degrees of freedom).

    Each trial counts once, however long it was. Route, load, fuel, tyres and weather must be alike: no statistic
    repairs a trial on another fuel. At least two trials on each side are needed for an interval.
    """
    if not before or not after:
        raise BadInput("Give at least one trial before and one after.", field="trials")
    if not 0.5 <= level < 1:
        raise BadInput("The level of the interval must be a fraction from 0.5 to below 1.", field="level")
    old, new = [t.l_per_100km for t in before], [t.l_per_100km for t in after]
    first, second = sum(old) / len(old), sum(new) / len(new)
    change = second - first
    low = high = freedom = None
    if len(old) > 1 and len(new) > 1:
        low, high, freedom = _welch(old, new, level)
    if low is None or high is None:
        verdict: Verdict = "too few trials"
    else:
        verdict = "less" if high < 0 else "more" if low > 0 else "not resolved"
    sentence = _sentence(first, change, low, high, level, verdict, (len(old), len(new)))
    return EconomyChange(first, second, change, low, high, freedom, level, verdict, sentence)


def _welch(old: Sequence[float], new: Sequence[float], level: float) -> tuple[float | None, float | None, float | None]:
    """(low, high, degrees of freedom) of new − old; None when neither side scatters at all."""
    from scipy.stats import t as student

    (m1, v1), (m2, v2) = _mean_variance(old), _mean_variance(new)
    u1, u2 = v1 / len(old), v2 / len(new)
    if u1 + u2 <= 0:
        return None, None, None
    freedom = (u1 + u2) ** 2 / (u1**2 / (len(old) - 1) + u2**2 / (len(new) - 1))
    half = float(student.ppf((1 + level) / 2, freedom)) * sqrt(u1 + u2)
    return m2 - m1 - half, m2 - m1 + half, freedom


def _mean_variance(values: Sequence[float]) -> tuple[float, float]:
    mean = sum(values) / len(values)
    return mean, sum((v - mean) ** 2 for v in values) / (len(values) - 1)


def _sentence(
    before: float,
    change: float,
    low: float | None,
    high: float | None,
    level: float,
    verdict: Verdict,
    counts: tuple[int, int],
) -> str:
    trials = f"{counted(counts[0], 'trial')} before, {counts[1]} after"
    shown = f"{change:+.2f} L/100 km ({100 * change / before:+.1f} %)"
    if low is None or high is None:
        return f"Consumption changed by {shown}, {trials}: make more trials to know how sure that is."
    interval = f"{100 * level:.0f} % interval {low:+.2f} to {high:+.2f}"
    if verdict == "not resolved":
        return f"Consumption changed by {shown}, {interval}, {trials}: no change is shown by these trials."
    return f"Consumption is {verdict} than before by {abs(change):.2f} L/100 km ({interval}; {trials})."
