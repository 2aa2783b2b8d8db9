"""Before anyone burns fuel: how many pulls resolve a wanted gain."""

import math

from app.errors import BadInput

MOST_PULLS = 50


def pulls_needed(
    sd_kw: float, wanted_kw: float, *, history_dof: int = 0, power: float = 0.8, alpha: float = 0.05
) -> int | None:
    """Pulls per session so that a two-sided t test finds a gain of `wanted_kw` with probability `power`.

    `sd_kw` is the repeatability standard deviation of one pull. Noncentral t distribution (NIST/SEMATECH e-Handbook of
    Statistical Methods, section 7.2.2.2, with the noncentral form). None when more than 50 would be needed.

    >>> pulls_needed(1.0, 3.07)
    3
    """
    from scipy.special import stdtrit

    if wanted_kw <= 0:
        raise BadInput("The wanted gain must be above zero.", field="wanted_kw")
    if sd_kw <= 0:
        return 2
    for n in range(2, MOST_PULLS + 1):
        dof = 2 * (n - 1) + history_dof
        shift = wanted_kw / (sd_kw * math.sqrt(2 / n))
        critical = float(stdtrit(dof, 1 - alpha / 2))
        if _power(dof, shift, critical) >= power - 5e-4:
            return n
    return None


def resolvable_kw(sd_kw: float, pulls: int, *, history_dof: int = 0, power: float = 0.8, alpha: float = 0.05) -> float:
    """The smallest gain that this many pulls per session find with probability `power`.

    >>> round(resolvable_kw(1.0, 3), 2)
    3.07
    """
    from scipy.special import stdtrit

    dof = max(1, 2 * (pulls - 1) + history_dof)
    critical = float(stdtrit(dof, 1 - alpha / 2))
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
