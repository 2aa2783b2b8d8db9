"""Is a verification pull equivalent to the baseline? Two one-sided tests on the level of power."""

from dataclasses import dataclass

import numpy as np

from app.calc.dyno.curve import Pulls
from app.calc.dyno.repeatability import History, repeatability
from app.errors import BadInput


@dataclass(frozen=True, slots=True)
class EquivalenceResult:
    """`equivalent` None when it could not be decided. Percentages of the baseline; low, high: 90 % interval."""

    equivalent: bool | None
    sentence: str
    difference_percent: float
    low_percent: float | None
    high_percent: float | None
    worst_percent: float
    worst_at_rpm: float


def equivalence(
    baseline: Pulls, verification: Pulls, *, margin_percent: float, history: History | None = None
) -> EquivalenceResult:
    """Two one-sided tests at 5 % each (Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657): equivalent when the 90 %
    interval of the mean difference of level lies within ± the margin.

    The level of a pull is its mean ratio to the baseline's mean curve. The variance of levels is pooled over both
    sessions and the dyno's history.
    """
    if margin_percent <= 0:
        raise BadInput("The margin of equivalence must be above zero.", field="margin_percent")
    low = float(max(baseline.speed_rpm[0], verification.speed_rpm[0]))
    high = float(min(baseline.speed_rpm[-1], verification.speed_rpm[-1]))
    if high - low < 500:
        raise BadInput("The verification pulls and the baseline share fewer than 500 rpm.")
    a, b = baseline.within(low, high), verification.within(low, high)
    reference = a.power_kw.mean(axis=0)
    ratio = b.power_kw.mean(axis=0) / reference - 1.0
    difference = float(ratio.mean())
    k = int(np.argmax(np.abs(ratio)))
    worst, at = 100 * float(ratio[k]), float(a.speed_rpm[k])
    spreads = [r.spread for r in (repeatability(a), repeatability(b)) if r.spread is not None]
    weights = [(s.level_variance, s.dof) for s in spreads]
    if history is not None:
        weights.append((history.level_variance, history.dof))
    dof = sum(d for _, d in weights)
    if dof == 0:
        sentence = (
            "One pull each and no history of this dyno: equivalence cannot be decided; make at least three pulls."
        )
        return EquivalenceResult(None, sentence, 100 * difference, None, None, worst, at)
    variance = sum(v * d for v, d in weights) / dof
    half = _t(dof) * float(np.sqrt(variance * (1 / a.count + 1 / b.count)))
    lower, upper = 100 * (difference - half), 100 * (difference + half)
    inside = -margin_percent < lower and upper < margin_percent
    figure = f"{100 * difference:+.2f} % (90 % interval {lower:+.2f} to {upper:+.2f} %)"
    if inside:
        sentence = f"Equivalent to the baseline: power differs by {figure}, within ± {margin_percent:g} %."
    elif lower > margin_percent or upper < -margin_percent:
        sentence = f"Not equivalent to the baseline: power differs by {figure}, outside ± {margin_percent:g} %."
    else:
        sentence = (
            f"Not shown to be equivalent: power differs by {figure}, which reaches beyond ± {margin_percent:g} %; "
            "more pulls narrow the interval."
        )
    return EquivalenceResult(inside, sentence, 100 * difference, lower, upper, worst, at)


def _t(dof: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.95))
