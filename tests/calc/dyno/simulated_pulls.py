"""Pulls whose true curve is known, with noise of every kind that a dyno makes, and how often a band covers the truth.

The kinds: "white" differs from speed to speed, "smooth" and "ripple" in waves of 15 % and 5 % of the range, "level"
moves whole pulls, "mixed" is level with a ripple of half its size, "growing" is a ripple three times as large where the
turbocharger spools up as it is at the top. All are Gaussian with unit variance at the quiet end.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import gain
from app.calc.dyno.history import History, pooled_history, spread_of

Values = NDArray[np.float64]

SPEED = np.arange(2000.0, 7000.0, 25.0)
PLACE = (SPEED - SPEED[0]) / (SPEED[-1] - SPEED[0])
BEFORE = 190.0 * np.sin(np.pi * (0.12 + 0.46 * PLACE))
AFTER = BEFORE * (1.05 + 0.04 * np.tanh((PLACE - 0.3) / 0.1))
RELATIVE_NOISE = 0.006
KINDS = ("white", "smooth", "ripple", "level", "mixed", "growing")


def _waves(length: float) -> Values:
    distance = (PLACE[:, None] - PLACE[None, :]) / length
    factor: Values = np.linalg.cholesky(np.exp(-(distance**2) / 2.0) + 1e-8 * np.eye(PLACE.size))
    return factor.T


_WAVES = {"smooth": _waves(0.15), "ripple": _waves(0.05)}
_GROWTH = 1.0 + 2.0 * np.exp(-PLACE / 0.1)


def noise(draw: np.random.Generator, kind: str, pulls: int) -> Values:
    """Noise of so many pulls, (pulls, m)."""
    if kind == "white":
        return draw.standard_normal((pulls, SPEED.size))
    if kind == "level":
        return np.repeat(draw.standard_normal((pulls, 1)), SPEED.size, axis=1)
    if kind == "mixed":
        mixed: Values = noise(draw, "level", pulls) + 0.5 * noise(draw, "ripple", pulls)
        return mixed
    if kind == "growing":
        grown: Values = _GROWTH * noise(draw, "ripple", pulls)
        return grown
    waves: Values = draw.standard_normal((pulls, SPEED.size)) @ _WAVES[kind]
    return waves


def pulls_of(power: Values) -> Pulls:
    return Pulls(SPEED, power * 30000.0 / (np.pi * SPEED), power)


def session(draw: np.random.Generator, true: Values, kind: str, pulls: int, scale: float = 1.0) -> Pulls:
    return pulls_of(true * (1.0 + RELATIVE_NOISE * scale * noise(draw, kind, pulls)))


def past(draw: np.random.Generator, kind: str, sessions: int, pulls: int = 3, spread: float = 0.0) -> History | None:
    """A dyno's history of sessions whose standard deviations differ by `spread` (of their logarithm)."""
    found = []
    for scale in np.exp(spread * draw.standard_normal(sessions)):
        residuals = RELATIVE_NOISE * scale * noise(draw, kind, pulls)
        found.append(spread_of(residuals - residuals.mean(axis=0)))
    return pooled_history([one for one in found if one is not None])


@dataclass(frozen=True, slots=True)
class Coverage:
    """Share of simulated gains whose band covers the true gain at every speed, and the medians of its half width and of
    that of Bonferroni's band, kW."""

    covered: float
    half_kw: float
    bonferroni_kw: float


def coverage(
    kind: str,
    pulls: int,
    *,
    sessions: int = 0,
    spread: float = 0.0,
    noisier: float = 1.0,
    repeats: int = 400,
    seed: int = 1,
) -> Coverage:
    """`sessions` past ones; `spread` between sessions; the session after scatters `noisier` times as much."""
    draw = np.random.default_rng(seed)
    covered, halves, others = 0, [], []
    for _ in range(repeats):
        history = past(draw, kind, sessions, spread=spread) if sessions else None
        first, second = np.exp(spread * draw.standard_normal(2))
        before = session(draw, BEFORE, kind, pulls, float(first))
        after = session(draw, AFTER, kind, pulls, float(second) * noisier)
        half = gain(before, after, history=history).half_kw
        assert half is not None
        error = after.power_kw.mean(axis=0) - before.power_kw.mean(axis=0) - (AFTER - BEFORE)
        covered += bool((np.abs(error) <= half).all())
        halves.append(float(np.median(half)))
        others.append(float(np.median(bonferroni(before, after))))
    return Coverage(covered / repeats, float(np.median(halves)), float(np.median(others)))


def bonferroni(before: Pulls, after: Pulls) -> Values:
    """Half width of the band from t at α/m with the pooled variance of each speed."""
    from scipy.special import stdtrit

    n = before.count
    dof = 2 * n - 2
    variance = (before.power_kw.var(axis=0, ddof=1) + after.power_kw.var(axis=0, ddof=1)) / n
    half: Values = float(stdtrit(dof, 1.0 - 0.025 / SPEED.size)) * np.sqrt(variance)
    return half
