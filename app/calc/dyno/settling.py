"""Does the level of a session's pulls follow a condition at their start, and does one pull stand apart?

Nothing here excludes a pull: a person does, with a reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from app.calc.dyno.history import History


@dataclass(frozen=True, slots=True)
class Following:
    """How the level follows one condition: slope in % per unit of it, two-sided p value, number of pulls."""

    condition: str
    slope: float
    p: float
    count: int

    @property
    def sentence(self) -> str:
        direction = "falls" if self.slope < 0 else "rises"
        chance = "p < 0.001" if self.p < 0.001 else f"p = {self.p:.3f}"
        return (
            f"Power {direction} with the {self.condition} by {abs(self.slope):.2f} % for each unit ({chance}): "
            "start the pulls at the same value."
        )


def follows(
    level_percent: Sequence[float], conditions: Mapping[str, Sequence[float | None]], *, alpha: float = 0.05
) -> tuple[Following, ...]:
    """Conditions that the level of the pulls follows, by ordinary least squares at level `alpha`, surest first.

    Parameters
    ----------
    level_percent : each pull's level against the session's mean, in %.
    conditions : name such as "coolant at start" → its value for each pull, None where it was not recorded. One with
        fewer than three known values, or only one value, tells nothing.
    """
    from scipy import stats

    found = []
    for name, values in conditions.items():
        known = [(value, level) for value, level in zip(values, level_percent, strict=True) if value is not None]
        x, y = np.array([v for v, _ in known]), np.array([level for _, level in known])
        if len(known) < 3 or np.ptp(x) == 0 or np.ptp(y) == 0:
            continue
        line = stats.linregress(x, y)
        if line.pvalue < alpha:
            found.append(Following(name, float(line.slope), float(line.pvalue), len(known)))
    return tuple(sorted(found, key=lambda one: one.p))


@cache
def critical_range(pulls: int, dof: float = np.inf) -> float:
    """Factor of s_r that the range of `pulls` levels exceeds in 5 of 100 sessions (ISO 5725-6, critical range f(n)),
    with the degrees of freedom that s_r is known with.

    >>> round(critical_range(3), 3)
    3.314
    """
    from scipy.stats import studentized_range

    return float(studentized_range.ppf(0.95, pulls, min(dof, 1e5)))


def standing_apart(level_percent: Sequence[float], history: History | None) -> int | None:
    """Index of the pull that lies farthest from the median, when the levels range further than the dyno's history
    explains; None otherwise, and without a history: three pulls alone cannot accuse one of them."""
    if history is None or len(level_percent) < 2 or history.level_variance <= 0:
        return None
    levels = np.asarray(level_percent, np.float64)
    allowed = critical_range(levels.size, history.dof) * 100 * float(np.sqrt(history.level_variance))
    if float(np.ptp(levels)) <= allowed:
        return None
    return int(np.argmax(np.abs(levels - np.median(levels))))
