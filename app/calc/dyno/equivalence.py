"""Is a verification pull equivalent to the baseline? Two one-sided tests on the level of power."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import History
from app.calc.dyno.sweep import SHORTEST_RPM
from app.calc.number_text import plain, rpm
from app.errors import BadInput

Values = NDArray[np.float64]

ALPHA = 0.05


@dataclass(frozen=True, slots=True)
class EquivalenceResult:
    """`equivalent` None when it could not be decided. Percentages of the baseline; low, high: 90 % interval of the
    whole range. p_value : the largest of the whole range and its thirds; equivalent below 0.05."""

    equivalent: bool | None
    sentence: str
    difference_percent: float
    low_percent: float | None
    high_percent: float | None
    worst_percent: float
    worst_at_rpm: float
    p_value: float | None


@dataclass(frozen=True, slots=True)
class _Part:
    """One stretch of speeds: mean difference and its 90 % interval in %, p of the two one-sided tests."""

    where: str
    difference: float
    low: float
    high: float
    p: float

    @property
    def figure(self) -> str:
        low, high = plain(self.low, 2, sign=True), plain(self.high, 2, sign=True)
        return f"power differs by {plain(self.difference, 2, sign=True)} % (90 % interval {low} to {high} %)"


def equivalence(
    baseline: Pulls, verification: Pulls, *, margin_percent: float, history: History | None = None
) -> EquivalenceResult:
    """Two one-sided tests at 5 % each (Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657): equivalent when the 90 %
    interval of the mean difference of level lies within ± the margin, over the whole range and over each third of it,
    so that more below and less above do not make up for each other. All four must hold, which needs no adjustment
    of the 5 % (intersection-union test).

    The level of a pull is its mean ratio to the baseline's mean curve. Without a history of the dyno the variances of
    both sessions count by Welch's formula; with one, all are pooled, unless these pulls scatter significantly more
    (F test, 5 %). Raises BadInput for a margin of zero or less, or fewer than 500 rpm in common.
    """
    if margin_percent <= 0:
        raise BadInput("The margin of equivalence must be above zero.", field="margin_percent")
    low = float(max(baseline.speed_rpm[0], verification.speed_rpm[0]))
    high = float(min(baseline.speed_rpm[-1], verification.speed_rpm[-1]))
    if high - low < SHORTEST_RPM:
        raise BadInput("The verification pulls and the baseline share fewer than 500 rpm.")
    a, b = baseline.within(low, high), verification.within(low, high)
    reference = a.power_kw.mean(axis=0)
    before, after = a.power_kw / reference - 1.0, b.power_kw / reference - 1.0
    ratio = after.mean(axis=0)
    k = int(np.argmax(np.abs(ratio)))
    worst, at, whole = 100 * float(ratio[k]), float(a.speed_rpm[k]), 100 * float(ratio.mean())
    if a.count + b.count == 2 and history is None:
        sentence = (
            "One pull each and no history of this dyno: equivalence cannot be decided; make at least three pulls."
        )
        return EquivalenceResult(None, sentence, whole, None, None, worst, at, None)
    parts = [_part("", before, after, margin_percent, history, whole=True)]
    for columns in np.array_split(np.arange(a.speed_rpm.size), 3):
        where = f"from {a.speed_rpm[columns[0]]:,.0f} to {rpm(float(a.speed_rpm[columns[-1]]))} "
        parts.append(_part(where, before[:, columns], after[:, columns], margin_percent, history, whole=False))
    p = max(part.p for part in parts)
    sentence = _sentence(parts, margin_percent)
    return EquivalenceResult(p < ALPHA, sentence, whole, parts[0].low, parts[0].high, worst, at, p)


def _part(
    where: str, before: Values, after: Values, margin_percent: float, history: History | None, *, whole: bool
) -> _Part:
    from scipy.special import stdtr, stdtrit

    x, y = 100 * before.mean(axis=1), 100 * after.mean(axis=1)
    difference = float(y.mean() - x.mean())
    error, dof = _error(x, y, history, whole=whole)
    half = float(stdtrit(dof, 1 - ALPHA)) * error
    nearest = margin_percent - abs(difference)
    p = float(stdtr(dof, -nearest / error)) if error > 0 else float(nearest <= 0)
    return _Part(where, difference, difference - half, difference + half, p)


def _error(x: Values, y: Values, history: History | None, *, whole: bool) -> tuple[float, float]:
    """Standard error of the difference of two mean levels in %, and its degrees of freedom (Welch–Satterthwaite)."""
    from scipy.special import fdtri

    own_dof = x.size + y.size - 2
    squares = float(((x - x.mean()) ** 2).sum() + ((y - y.mean()) ** 2).sum())
    if history is not None:
        # Of a third of the range the history tells no level; level and shape together are never too little.
        usual = 1e4 * (history.level_variance if whole else history.variance)
        noisier = own_dof > 0 and squares / own_dof > usual * float(fdtri(own_dof, history.dof, 1 - ALPHA))
        if not noisier:
            dof = own_dof + history.dof
            pooled = (squares + history.dof * usual) / dof
            return float(np.sqrt(pooled * (1 / x.size + 1 / y.size))), float(dof)
    if min(x.size, y.size) < 2:
        return float(np.sqrt(squares / own_dof * (1 / x.size + 1 / y.size))), float(own_dof)
    first, second = float(x.var(ddof=1)) / x.size, float(y.var(ddof=1)) / y.size
    if first + second == 0:
        return 0.0, float(own_dof)
    satterthwaite = (first + second) ** 2 / (first**2 / (x.size - 1) + second**2 / (y.size - 1))
    return float(np.sqrt(first + second)), satterthwaite


def _sentence(parts: list[_Part], margin_percent: float) -> str:
    outside = [part for part in parts if part.low > margin_percent or part.high < -margin_percent]
    if outside:
        part = outside[0]
        return f"Not equivalent to the baseline: {part.where}{part.figure}, outside ± {margin_percent:g} %."
    open_parts = [part for part in parts if part.p >= ALPHA]
    if open_parts:
        part = open_parts[0]
        return (
            f"Not shown to be equivalent: {part.where}{part.figure}, which reaches beyond ± {margin_percent:g} %; "
            "more pulls narrow the interval."
        )
    return (
        f"Equivalent to the baseline: {parts[0].figure}, within ± {margin_percent:g} % over the whole range and in "
        "each third of it."
    )
