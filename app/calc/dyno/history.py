"""What a dyno's past sessions say about how its pulls repeat, and how far that may be trusted for a new one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.noise_structure import Structure, merged, structure_of

Values = NDArray[np.float64]

POSITIONS = 24
"""A session's variance is kept at this many places of its sweep, from its start to its end."""

# Sessions of one dyno differ in how well they repeat. Until several have been seen, this much spread of the logarithm
# of their variances is assumed, with the weight of half a session: ten sessions that are alike then speak for
# themselves, and simulated coverage with ten stays below 0.97. A proposal, no source.
_ASSUMED_SPREAD = 0.2
_ASSUMED_SESSIONS = 0.5
_LEAST_SPREAD = 0.01


@dataclass(frozen=True, slots=True)
class Spread:
    """One session's repeatability: variances relative to the mean curve, `dof` = pulls − 1.

    level_variance : of whole pulls. shape_variance : of what is left, averaged over the curve. profile : of one point
    of one pull at 24 places of the sweep. structure : how the residuals hang together (None when all pulls are equal).
    """

    level_variance: float
    shape_variance: float
    dof: int
    profile: tuple[float, ...] = ()
    structure: Structure | None = None


@dataclass(frozen=True, slots=True)
class History:
    """A dyno's repeatability over past sessions: s² = Σ(nᵢ−1)sᵢ² / Σ(nᵢ−1) (ISO 5725-2), level and shape apart.

    between_dof : sessions differ; their variances scatter about the pooled one like χ² variables of so many degrees of
    freedom, over and above what their own pulls explain (Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) 3).
    """

    level_variance: float
    shape_variance: float
    dof: int
    sessions: int
    profile: tuple[float, ...] = ()
    between_dof: float = 1.0
    structure: Structure | None = None

    @property
    def variance(self) -> float:
        """Relative variance of one point of one pull, averaged over the curve."""
        return self.level_variance + self.shape_variance

    def variance_along(self, points: int) -> Values:
        """Relative variance at `points` places spread evenly over the sweep."""
        if not self.profile:
            return np.full(points, self.variance)
        places = (np.arange(POSITIONS) + 0.5) / POSITIONS
        return np.interp((np.arange(points) + 0.5) / points, places, self.profile)


def spread_of(residuals: Values) -> Spread | None:
    """The spread of a session from its relative residuals about its mean curve, (n, m); None below two pulls."""
    pulls, points = residuals.shape
    if pulls < 2:
        return None
    dof = pulls - 1
    levels = residuals.mean(axis=1)
    shape = residuals - levels[:, None]
    variance = (residuals**2).sum(axis=0) / dof
    edges = np.linspace(0, points, POSITIONS + 1)
    # The mean over each part of the sweep, exact for parts that do not end on a grid point.
    sums = np.interp(edges, np.arange(points + 1), np.concatenate([[0.0], np.cumsum(variance)]))
    profile = np.diff(sums) / np.diff(edges)
    return Spread(
        float((levels**2).sum() / dof),
        float((shape**2).sum() / (dof * points)),
        dof,
        tuple(float(v) for v in profile),
        structure_of(residuals, float(dof)),
    )


def pooled_history(spreads: Sequence[Spread]) -> History | None:
    """Pool sessions of at least two pulls; None without any, or when none of them shows any scatter."""
    dof = sum(one.dof for one in spreads)
    if dof < 1:
        return None
    weights = [one.dof / dof for one in spreads]
    level = sum(w * one.level_variance for w, one in zip(weights, spreads, strict=True))
    shape = sum(w * one.shape_variance for w, one in zip(weights, spreads, strict=True))
    if level + shape <= 0:
        return None
    profiled = [one for one in spreads if one.profile]
    profile: Values = np.zeros(0)
    if profiled:
        profile = np.average([one.profile for one in profiled], axis=0, weights=[one.dof for one in profiled])
    structure = merged([one.structure for one in spreads if one.structure is not None])
    return History(
        level,
        shape,
        dof,
        len(spreads),
        tuple(float(v) for v in profile),
        _between_dof(spreads, structure),
        structure,
    )


def _between_dof(spreads: Sequence[Spread], structure: Structure | None) -> float:
    """d₀ with trigamma(d₀/2) = the spread of log s² between sessions beyond what their own degrees of freedom explain,
    which are (pulls − 1) times the independent pieces of a curve (Smyth 2004, equation for d₀)."""
    from scipy.special import polygamma

    pieces = 1.0 if structure is None else structure.pieces
    own = np.array([one.dof * pieces for one in spreads])
    variances = np.array([one.level_variance + one.shape_variance for one in spreads])
    logs = np.log(np.maximum(variances, 1e-30)) - polygamma(0, own / 2.0) + np.log(own / 2.0)
    free = len(spreads) - 1.0
    excess = float(logs.var(ddof=1) - polygamma(1, own / 2.0).mean()) if free else 0.0
    between = (free * excess + _ASSUMED_SESSIONS * _ASSUMED_SPREAD) / (free + _ASSUMED_SESSIONS)
    return 2.0 * _inverse_trigamma(max(between, _LEAST_SPREAD))


def _inverse_trigamma(value: float) -> float:
    """x with trigamma(x) = value, by Newton's method on 1/trigamma (Smyth 2004, appendix)."""
    from scipy.special import polygamma

    x = 0.5 + 1.0 / value
    for _ in range(8):
        found = float(polygamma(1, x))
        x += found * (1.0 - found / value) / float(polygamma(2, x))
    return x
