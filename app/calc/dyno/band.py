"""The threshold of a band that covers a whole curve at once with 95 % confidence.

The difference of two mean curves over its standard error is a t field along the engine speed. The band is left when
the field starts outside or crosses the threshold on the way. For a smooth field with a variance estimated speed by
speed that is the Gaussian kinematic formula (Telschow and Schwartzman, arXiv 1901.06386). Four things are added,
because a band by that formula alone does not cover 95 % for pulls on a dyno:

- crossings are counted between grid points with the bivariate normal distribution (S. O. Rice's count in discrete
  form: P(Z₁ ≤ b, Z₂ > b) = ∫₀^θ exp(−b²/(1 + cos φ)) dφ / 2π, cos θ the correlation), so that rough noise is not
  counted as if it were smooth;
- the part of the noise that moves whole pulls is integrated over, because it crosses nothing;
- the variance is averaged over ± 200 rpm, which has more degrees of freedom where noise is rough: the distribution of
  that average, a weighted sum of χ² variables, is matched through its Laplace transform where the threshold acts;
- crossings come in clumps where the variance happened to be estimated too small.

The small-sample constants below were tuned by simulation at two and three pulls; tests repeat that simulation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.noise_structure import REACH, Structure

Values = NDArray[np.float64]

ALPHA = 0.05
WIDTH = 2 * REACH + 1

# Tuned by simulation, see above: an estimate of the structure from one or two degrees of freedom errs, and the band
# must be honest on average over these errors. Each vanishes as the degrees of freedom grow.
_LEVEL_LESS = 1.0  # of the level that is integrated over
_LEVEL_MORE = 8.0  # of the level that lowers the degrees of freedom
_LAPLACE_LESS = 0.6  # of the match by Laplace transform against the match by variance
_MORE_CLUMPS = 3.0

_LEVEL_NODES, _LEVEL_WEIGHTS = np.polynomial.legendre.leggauss(20)
_Z = (_LEVEL_NODES + 1.0) * 2.2
_Z_WEIGHT = _LEVEL_WEIGHTS * np.exp(-_Z * _Z / 2.0)
_Z_WEIGHT /= _Z_WEIGHT.sum()
_ANGLE, _ANGLE_WEIGHT = np.polynomial.legendre.leggauss(6)
_SCALE_NODES, _SCALE_WEIGHTS = np.polynomial.legendre.leggauss(28)


@dataclass(frozen=True, slots=True)
class Field:
    """What the threshold depends on.

    dof : degrees of freedom of the variance. level : share of the variance that moves whole curves. angle : of
    neighbouring points of the rest, radians. pairs : of neighbours. drift : variance of the estimated standard
    deviation from point to point, relative. clumps : how many independent values the estimated variance takes.
    """

    dof: float
    level: float
    angle: float
    pairs: int
    drift: float
    clumps: float


def exceedance(threshold: float, field: Field) -> float:
    """Probability that |t| exceeds the threshold somewhere on the curve."""
    scale, weight = _scales(field.dof)
    return _exceedance(threshold, field, scale, weight)


def _exceedance(u: float, field: Field, scale: Values, weight: Values) -> float:
    from scipy.special import ndtr

    rest = sqrt(max(1.0 - field.level, 1e-6))
    shift = sqrt(field.level) * _Z
    low, high = (u * scale[:, None] - shift) / rest, (u * scale[:, None] + shift) / rest
    bounds = np.stack([low, high])
    inside = np.maximum(1.0 - ndtr(-bounds).sum(axis=0), 1e-12)
    steepness = rest * rest * field.angle**2
    angle = 0.0 if steepness == 0 else min(field.angle * sqrt(1.0 + u * u * field.drift / steepness), pi / 2)
    crossings = field.pairs * _crossing(bounds, angle).sum(axis=0)
    clump = np.exp(-crossings / (field.clumps * inside))
    stays = (weight @ (inside * clump)) * (weight @ clump) ** (field.clumps - 1.0)
    return float(max(1.0 - stays @ _Z_WEIGHT, 1e-300))


def _crossing(bounds: Values, angle: float) -> Values:
    """P(Z₁ ≤ b, Z₂ > b) for standard normal Z₁, Z₂ with correlation cos(angle)."""
    phi = angle * (_ANGLE + 1.0) / 2.0
    integrand = np.exp(-(bounds * bounds)[..., None] / (1.0 + np.cos(phi)))
    probability: Values = (integrand * _ANGLE_WEIGHT).sum(axis=-1) * angle / (4.0 * pi)
    return probability


def _scales(dof: float) -> tuple[Values, Values]:
    """Quadrature of √(χ²/ν): nodes on its logarithm and weights that sum to one."""
    from scipy.special import gammaln

    smallest = (log(1e-7) + float(gammaln(dof / 2 + 1))) * 2 / dof + log(2 / dof)
    low = max(smallest, -8.0 * sqrt(2.0 / dof) - 2.0) if dof > 6 else smallest
    high = log((dof + 8.0 * sqrt(2.0 * dof) + 30.0) / dof)
    at = low + (high - low) * (_SCALE_NODES + 1.0) / 2.0
    density = dof / 2.0 * (at - np.exp(at))
    weight = _SCALE_WEIGHTS * np.exp(density - density.max())
    return np.exp(at / 2.0), weight / weight.sum()


def threshold(field: Field, alpha: float = ALPHA) -> float:
    """The u with exceedance α, by bracketing and the Illinois form of regula falsi on log u."""
    scale, weight = _scales(field.dof)

    def excess(at: float) -> float:
        return log(_exceedance(exp(at), field, scale, weight) / alpha)

    before, value_before = 1.1, excess(1.1)
    step = 0.4 if value_before > 0 else -0.4
    now, value = before + step, excess(before + step)
    while value_before * value > 0 and abs(now) < 12:
        before, value_before = now, value
        now += step
        value = excess(now)
    for _ in range(40):
        new = now - value * (now - before) / (value - value_before)
        value_new = excess(new)
        if abs(value_new) < 1e-3:
            return exp(new)
        if value_new * value < 0:
            before, value_before = now, value
        else:
            value_before /= 2.0
        now, value = new, value_new
    return exp(now)


@dataclass(frozen=True, slots=True)
class PooledDof:
    """Degrees of freedom of a variance averaged over ± 200 rpm from `raw` ones per point, and how it varies.

    by_variance : as the variance of the average says. modes, dofs : weights and degrees of freedom of the χ² variables
    it is a sum of. correlation : of the residuals along the curve, at lags 0 … 17. trust : in the match by Laplace
    transform, 0 … 1.
    """

    raw: float
    by_variance: float
    modes: Values
    dofs: Values
    correlation: Values
    trust: float

    def at(self, u: float) -> float:
        """Degrees of freedom with E exp(−u²S²/2) of the average S²; a χ² with as many behaves alike at u."""
        wanted = float((self.dofs * np.log1p(u * u * self.modes / self.dofs)).sum())
        low, high = log(0.9 * self.raw), log(1e5)
        for _ in range(30):
            middle = (low + high) / 2
            if exp(middle) * np.log1p(u * u / exp(middle)) < wanted:
                low = middle
            else:
                high = middle
        return self.by_variance + self.trust * (exp(low) - self.by_variance)

    @property
    def drift(self) -> float:
        """Variance of the standard deviation's step from point to point, relative to itself."""
        return max(0.0, 1.0 - float(self.correlation[WIDTH]) ** 2) / (WIDTH**2 * self.raw)


def pooled_dof(structure: Structure, dofs: Sequence[float], shares: Sequence[float] = (1.0,)) -> PooledDof:
    """What averaging over ± 200 rpm makes of a variance that is a sum of independent ones, with `dofs` degrees of
    freedom per point each, that bring `shares` of it (together 1)."""
    raw = 1.0 / sum(share * share / dof for share, dof in zip(shares, dofs, strict=True))
    extra = _LEVEL_MORE / structure.dof**2 * structure.level
    correlation = (np.array(structure.correlation) + extra) / (1.0 + extra)
    apart = np.abs(np.arange(WIDTH)[:, None] - np.arange(WIDTH))
    modes = np.clip(np.linalg.eigvalsh(correlation[apart]), 0.0, None)
    modes /= modes.sum()
    share = (WIDTH - np.arange(1, WIDTH)) / WIDTH**2
    shrink = 1.0 / WIDTH + 2.0 * float((share * correlation[1:WIDTH] ** 2).sum())
    trust = max(0.0, 1.0 - _LAPLACE_LESS / structure.dof)
    spread = np.outer(shares, modes)
    of_each = np.broadcast_to(np.array(dofs, dtype=np.float64)[:, None], spread.shape)
    return PooledDof(raw, raw / shrink, spread.ravel(), of_each.ravel(), correlation, trust)


def field_of(structure: Structure, points: int, dof: float, drift: float, local: float) -> Field:
    """The field of a curve of `points` points.

    local : the part, 0 … 1, of the uncertainty of the variance that differs from place to place along the curve; the
    rest is common to the whole curve.
    """
    less = _LEVEL_LESS / structure.dof**2
    level = max(0.0, (structure.level - less) / (1.0 - less)) if less < 1.0 else 0.0
    angles = [acos(1.0 - min(rough / (1.0 - level), 1.0)) for rough in structure.roughness]
    pieces = 1.0 + (1.0 + _MORE_CLUMPS / structure.dof) * (structure.smooth_pieces - 1.0)
    clumps = 1.0 / (local / pieces + 1.0 - local)
    return Field(dof, level, sum(angles) / len(angles), points - 1, drift, clumps)
