"""The band of a sum of mean curves: where the true curve lies all along at once, with 95 % confidence."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.band import ALPHA, PooledDof, field_of, pooled_dof, threshold
from app.calc.dyno.history import History
from app.calc.dyno.noise_structure import Structure, merged, pooled_variance, structure_of

Values = NDArray[np.float64]

_QUARTERS = 4
_NO_TRUST, _FULL_TRUST, _FULL_POOLING = 0.05, 0.2, 0.3
# The chance that these pulls would have shown twice the usual scatter, from which the history counts a little and
# wholly. Set by simulation: tests count the coverage that it gives.
_NO_POWER, _FULL_POWER = 0.64, 0.72
# Two half widths that err apart err less when they are averaged, so their average may be a little smaller: a power mean
# below the arithmetic one, set by the same simulation.
_BLEND_POWER, _BLEND_LEAST = -3.0, 0.9
_MOST_PULLS = 20


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Pulls of one session: relative residuals about its mean curve, (n, m), and `weight`, (m,), the factor that makes
    their relative variance its part of the variance of the result (P²/n for a mean of n curves P)."""

    residuals: Values
    weight: Values

    @property
    def dof(self) -> int:
        return len(self.residuals) - 1


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Standard error, (m,), of the result and the threshold it is multiplied by.

    dof : degrees of freedom at the threshold. used_history : the dyno's history is in the band. noisier : of each
    session, whether it scatters significantly more than the history, so that its own scatter is used alone. unequal :
    the sessions scatter significantly differently from each other. history_from : pulls in each session from which on
    the history would count wholly; None when it does, when there is none, and when 20 would not be enough.
    """

    se: Values
    threshold: float
    dof: float
    used_history: bool
    noisier: tuple[bool, ...]
    unequal: bool
    history_from: int | None = None

    @property
    def half(self) -> Values:
        return self.threshold * self.se


def simultaneous_band(samples: Sequence[Sample], history: History | None, *, alpha: float = ALPHA) -> Band | None:
    """The band of a weighted sum of the samples' means; None when nothing tells the scatter.

    Without history the sessions' variances are pooled, unless an F test at 5 % tells them apart. With history each
    session's variance is moderated by it, s̃² = (d₀h² + ds²)/(d₀ + d) (Smyth 2004, see history.py), unless the session
    scatters significantly more than the history; then its own variance counts alone. The same where a test could not
    have told: pulls lean on the history as far as they would have shown a doubled scatter. Whole-pull errors need six
    or more pulls for that; waves along the curve need two or three.

    Coverage, counted in simulations with 2 to 10 pulls each, 3,000 to 12,000 gains a case, for level, smooth and white
    noise, a mixture and noise that grows towards one end: 0.937 to 0.965 without history and with ten past sessions,
    also when one session scatters twice as much as the other and as the history ever did; up to 0.989 on a dyno whose
    sessions differ much. What no formula makes good for: two or three noisy pulls against eight calm ones (0.83 at
    worst), and a single pull, which shows no scatter of its own.
    """
    structure = _own_structure(samples)
    if history is None:
        return None if structure is None else _from_own(samples, structure, alpha, noisier=False)
    if structure is None:
        return _with_history(samples, [1.0] * len(samples), structure, history, alpha)
    share, enough = _history_share(min(s.dof for s in samples if s.dof > 0), structure, history)
    if share == 0.0:
        return replace(_from_own(samples, structure, alpha, noisier=False), history_from=enough)
    trust = [_trust(sample, samples, structure, history) for sample in samples]
    if not any(trust):
        return _from_own(samples, structure, alpha, noisier=True)
    backed = _with_history(samples, trust, structure, history, alpha)
    if share == 1.0 or backed is None:
        return backed
    return replace(_between(backed, _from_own(samples, structure, alpha, noisier=False), share), history_from=enough)


def _history_share(dof: int, structure: Structure, history: History) -> tuple[float, int | None]:
    """How far pulls with `dof` in their session may lean on the history, 0 … 1, and from how many pulls on wholly.

    By the power of the F test at 5 % of one session against the history when the session scatters twice as much: what
    a test would overlook, no band can make good for.
    """
    both = merged([one for one in (structure, history.structure) if one is not None]) or structure
    share = _share(dof, both, history)
    return share, None if share == 1.0 else _enough(dof + 1, both, history)


def pulls_to_lean(history: History) -> int | None:
    """From how many pulls in each session on a gain leans wholly on this history; None above 20."""
    return None if history.structure is None else _enough(1, history.structure, history)


def _enough(least: int, structure: Structure, history: History) -> int | None:
    return next((raw + 1 for raw in range(least, _MOST_PULLS) if _share(raw, structure, history) == 1.0), None)


def _share(dof: int, structure: Structure, history: History) -> float:
    from scipy.special import fdtrc, fdtri

    past = 1.0 / (1.0 / history.between_dof + 1.0 / (history.dof * structure.pieces))
    own = dof * structure.pieces
    power = float(fdtrc(own, past, fdtri(own, past, 1.0 - _NO_TRUST) / 4.0))
    return float(np.clip((power - _NO_POWER) / (_FULL_POWER - _NO_POWER), 0.0, 1.0))


def _between(backed: Band, own: Band, share: float) -> Band:
    """The band whose half width lies between two others: `share` of the one, the rest of the other."""
    threshold = share * backed.threshold + (1.0 - share) * own.threshold
    half = _blended(backed.half, own.half, share)
    dof = 1.0 / (share / backed.dof + (1.0 - share) / own.dof)
    return replace(backed, se=half / threshold, threshold=threshold, dof=dof)


def _blended(backed: Values, own: Values, share: float) -> Values:
    """Half widths between two others, see `_BLEND_POWER`."""
    with np.errstate(divide="ignore"):  # Pulls that agree to the last digit somewhere: the least part holds there.
        lower = (share * backed**_BLEND_POWER + (1.0 - share) * own**_BLEND_POWER) ** (1.0 / _BLEND_POWER)
    half: Values = np.maximum(lower, _BLEND_LEAST * (share * backed + (1.0 - share) * own))
    return half


def _own_structure(samples: Sequence[Sample]) -> Structure | None:
    """Of all pulls together; None when no session has two that differ."""
    own = [sample.residuals for sample in samples if sample.dof > 0]
    return structure_of(np.concatenate(own), float(_dof(samples))) if own else None


def _evened_structure(samples: Sequence[Sample]) -> Structure | None:
    """The same with each session's pulls scaled to one scatter, for sessions that scatter differently."""
    scaled = [replace(s, residuals=s.residuals / np.sqrt(_variance(s).mean())) for s in samples]
    return _own_structure(scaled)


def _variance(sample: Sample) -> Values:
    variance: Values = (sample.residuals**2).sum(axis=0) / sample.dof
    return variance


def _dof(samples: Sequence[Sample]) -> int:
    return sum(sample.dof for sample in samples)


def _common(samples: Sequence[Sample]) -> Values:
    """Variance of one pull, (m,), pooled over the sessions."""
    squares = [(sample.residuals**2).sum(axis=0) for sample in samples if sample.dof > 0]
    pooled: Values = np.sum(squares, axis=0) / _dof(samples)
    return pooled


def _from_own(samples: Sequence[Sample], structure: Structure, alpha: float, *, noisier: bool) -> Band:
    alike = _alike(samples, structure)
    if alike == 0.0:
        structure = _evened_structure(samples) or structure
    common = _common(samples)
    blended = [alike * common + (1.0 - alike) * (_variance(s) if s.dof > 0 else common) for s in samples]
    se = np.sqrt(np.sum([s.weight * pooled_variance(v) for s, v in zip(samples, blended, strict=True)], axis=0))
    estimate = pooled_dof(structure, *_shares(samples, blended, alike))
    shape = Shape(structure, se.size, estimate.drift, 1.0)
    u, used = _solved(estimate, estimate.by_variance, 1.0, shape, alpha)
    return Band(se, u, used, False, (noisier,) * len(samples), alike == 0.0)


def _shares(samples: Sequence[Sample], variances: Sequence[Values], alike: float) -> tuple[list[float], list[float]]:
    """Degrees of freedom of the sessions and their shares in the estimated variance of the result: what each session's
    own weight brings, and so far as they are pooled, what all weights together bring by its degrees of freedom."""
    known = [(s, float(v.mean())) for s, v in zip(samples, variances, strict=True) if s.dof > 0]
    whole, dof = sum(float(s.weight.mean()) for s in samples), _dof(samples)
    brought = [(alike * whole * s.dof / dof + (1.0 - alike) * float(s.weight.mean())) * v for s, v in known]
    return [float(s.dof) for s, _ in known], [one / sum(brought) for one in brought]


def _with_history(
    samples: Sequence[Sample], trust: Sequence[float], structure: Structure | None, history: History, alpha: float
) -> Band | None:
    both = merged([one for one in (structure, history.structure) if one is not None])
    if both is None:
        return None
    prior = _prior(history, both)
    usual = history.variance_along(samples[0].weight.size)
    parts: list[Values] = []
    own_dofs: list[float] = []
    borrowed: list[float] = []
    for sample, share_lent in zip(samples, trust, strict=True):
        own = pooled_dof(both, [sample.dof]).by_variance if sample.dof > 0 else 0.0
        lent = share_lent * prior.dof
        variance = pooled_variance(_variance(sample)) if sample.dof > 0 else np.zeros(usual.size)
        parts.append(sample.weight * (lent * usual + own * variance) / (lent + own))
        own_dofs.append(own)
        borrowed.append(lent)
    means = [float(part.mean()) for part in parts]
    se = np.sqrt(np.sum(parts, axis=0))
    here = pooled_dof(both, [max(1, _dof(samples))])
    u, used = _backed(here, own_dofs, borrowed, means, prior, both, se.size, alpha)
    return Band(se, u, used, True, tuple(one == 0.0 for one in trust), False)


@dataclass(frozen=True, slots=True)
class _Prior:
    """What a history lends: degrees of freedom, and those of its own variance pooled along the curve."""

    dof: float
    past: PooledDof


def _prior(history: History, structure: Structure) -> _Prior:
    past = pooled_dof(structure, [history.dof])
    return _Prior(1.0 / (1.0 / history.between_dof + 1.0 / past.by_variance), past)


def _backed(
    here: PooledDof,
    own: Sequence[float],
    lent: Sequence[float],
    variances: Sequence[float],
    prior: _Prior,
    structure: Structure,
    points: int,
    alpha: float,
) -> tuple[float, float]:
    """Threshold and degrees of freedom of sessions with `own` and `lent` ones that bring these `variances`."""
    dofs = np.array(own) + np.array(lent)
    # The sessions share what they borrow, so that together they know no more than it and their own pulls.
    dof = float(min(_welch(variances, list(dofs)), prior.dof + sum(own)))
    share = float(np.average(np.array(own) / dofs, weights=variances))
    local = share + (1.0 - share) * prior.dof / prior.past.by_variance
    drift = here.drift * share**2 + prior.past.drift * (1.0 - share) ** 2
    return _solved(here, dof, share, Shape(structure, points, drift, local), alpha)


def planned_threshold(
    structure: Structure | None, history: History | None, *, points: int, pulls: int
) -> tuple[float, float] | None:
    """Threshold and degrees of freedom of the gain between two sessions to come, of so many pulls each.

    They are taken to scatter alike and as `structure` and the history say; None when neither says anything.
    """
    raw = 2.0 * (pulls - 1)
    if history is None:
        if structure is None:
            return None
        return _planned_alone(structure, points, raw)
    both = merged([one for one in (structure, history.structure) if one is not None])
    if both is None:
        return None
    share, _ = _history_share(pulls - 1, both, history)
    prior, own = _prior(history, both), pooled_dof(both, [raw / 2.0]).by_variance
    backed = _backed(pooled_dof(both, [raw]), [own] * 2, [prior.dof] * 2, [1.0] * 2, prior, both, points, ALPHA)
    if share == 1.0:
        return backed
    alone = _planned_alone(both, points, raw)
    # The standard error is the same with and without the history, so the thresholds blend as the half widths do.
    u = float(_blended(np.array(backed[0]), np.array(alone[0]), share))
    return u, 1.0 / (share / backed[1] + (1.0 - share) / alone[1])


def _planned_alone(structure: Structure, points: int, raw: float) -> tuple[float, float]:
    then = replace(structure, dof=raw)
    estimate = pooled_dof(then, [raw])
    return _solved(estimate, estimate.by_variance, 1.0, Shape(then, points, estimate.drift, 1.0), ALPHA)


@dataclass(frozen=True, slots=True)
class Shape:
    """What the field depends on besides its degrees of freedom; see `band.field_of`."""

    structure: Structure
    points: int
    drift: float
    local: float


def _solved(own: PooledDof, dof: float, own_share: float, shape: Shape, alpha: float) -> tuple[float, float]:
    """Threshold and degrees of freedom, which depend on each other: what averaging along the curve is worth at the
    threshold is added to `dof` by the share that these pulls have in the variance."""
    u = 3.5
    for _ in range(5):
        used = dof + own_share * (own.at(u) - own.by_variance)
        new = threshold(field_of(shape.structure, shape.points, used, shape.drift, shape.local), alpha)
        if abs(new / u - 1.0) < 0.005:
            return new, used
        u = new
    return u, used


def _welch(variances: Sequence[float], dofs: Sequence[float]) -> float:
    """Degrees of freedom of a sum of independent variances (Welch and Satterthwaite)."""
    below = sum(v * v / dof for v, dof in zip(variances, dofs, strict=True))
    return sum(variances) ** 2 / below if below > 0 else float(sum(dofs))


def _alike(samples: Sequence[Sample], structure: Structure) -> float:
    """How far the sessions' variances are pooled, 1 … 0, by a two-sided F test over the whole curve: wholly from
    p = 30 % up, not at all below 5 %."""
    from scipy.special import fdtrc

    if len(samples) < 2 or any(sample.dof == 0 for sample in samples):
        return 1.0
    v = [float(_variance(sample).mean()) for sample in samples]
    d = [sample.dof * structure.pieces for sample in samples]
    if min(v) <= 0:
        return 1.0
    p = 2.0 * float(min(fdtrc(d[0], d[1], v[0] / v[1]), fdtrc(d[1], d[0], v[1] / v[0])))
    return _grade(p, _FULL_POOLING)


def _grade(p: float, full: float) -> float:
    return float(np.clip((p - _NO_TRUST) / (full - _NO_TRUST), 0.0, 1.0))


def _trust(sample: Sample, samples: Sequence[Sample], structure: Structure | None, history: History) -> float:
    """How far the history's variance holds for a session, 1 … 0, by whether the session scatters more.

    F tests of the session and of all sessions together against the history, over the whole curve and in quarters of
    it; full trust from p = 20 % up, none below 5 %. A sharp limit would trust the history whenever a noisy session by
    chance looks almost quiet enough.
    """
    if sample.dof == 0 or structure is None:
        return 1.0
    p = min(
        _tail(_variance(sample), sample.dof, structure, history),
        _tail(_common(samples), _dof(samples), structure, history),
    )
    return _grade(p, _FULL_TRUST)


def _tail(variance: Values, dof: int, structure: Structure, history: History) -> float:
    """Probability of so much variance under the history, the smallest of four quarters counted four times."""
    from scipy.special import fdtrc

    def past(pieces: float) -> float:
        return 1.0 / (1.0 / history.between_dof + 1.0 / (history.dof * pieces))

    usual = np.maximum(history.variance_along(variance.size), 1e-6 * history.variance)
    whole = float(fdtrc(dof * structure.pieces, past(structure.pieces), variance.mean() / usual.mean()))
    pieces = max(1.0, structure.pieces / _QUARTERS)
    parts = zip(np.array_split(variance, _QUARTERS), np.array_split(usual, _QUARTERS), strict=True)
    quarters = [float(fdtrc(dof * pieces, past(pieces), found.mean() / expected.mean())) for found, expected in parts]
    return min(whole, _QUARTERS * min(quarters))
