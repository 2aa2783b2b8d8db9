"""Before anyone burns fuel: how many pulls resolve a wanted gain."""

import bisect
import math
from collections.abc import Callable

from app.errors import BadInput

MOST_PULLS = 50


Limit = Callable[[int], tuple[float, float]]
"""What a gain over its standard error must pass, and the degrees of freedom of that, for so many pulls per session."""


def student(history_dof: int = 0, alpha: float = 0.05) -> Limit:
    """The limit of a two-sided t test at one engine speed."""
    from scipy.special import stdtrit

    def limit(pulls: int) -> tuple[float, float]:
        dof = max(1, 2 * (pulls - 1) + history_dof)
        return float(stdtrit(dof, 1 - alpha / 2)), float(dof)

    return limit


def pulls_needed(sd_kw: float, wanted_kw: float, *, limit: Limit | None = None, power: float = 0.8) -> int | None:
    """Pulls per session so that a gain of `wanted_kw` passes the limit with probability `power`.

    `sd_kw` is the repeatability standard deviation of one pull; without a limit it is that of a t test of these pulls.
    Noncentral t distribution (NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.2.2, with the noncentral
    form). None when more than 50 would be needed.

    >>> pulls_needed(1.0, 3.07)
    3
    """
    if wanted_kw <= 0:
        raise BadInput("The wanted gain must be above zero.", field="wanted_kw")
    if sd_kw <= 0:
        return 2
    at = limit or student()

    def enough(pulls: int) -> bool:
        critical, dof = at(pulls)
        return _power(dof, wanted_kw / (sd_kw * math.sqrt(2 / pulls)), critical) >= power - 5e-4

    found = bisect.bisect_left(range(MOST_PULLS + 1), True, lo=2, key=enough)
    return found if found <= MOST_PULLS else None


def resolvable_kw(sd_kw: float, pulls: int, *, limit: Limit | None = None, power: float = 0.8) -> float:
    """The smallest gain that this many pulls per session find with probability `power`.

    >>> round(resolvable_kw(1.0, 3), 2)
    3.07
    """
    critical, dof = (limit or student())(pulls)
    low, high = 0.0, 1000.0
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if _power(dof, middle, critical) < power else (low, middle)
    return high * sd_kw * math.sqrt(2 / pulls)


def _power(dof: float, shift: float, critical: float) -> float:
    """Probability that a noncentral t leaves ± critical; far out scipy has no number for the tail that nears zero."""
    from scipy.special import nctdtr

    below, above = float(nctdtr(dof, shift, -critical)), float(nctdtr(dof, shift, critical))
    return 1.0 - (0.0 if math.isnan(above) else above) + (0.0 if math.isnan(below) else below)
