"""The shop can rely on it that the band covers the whole true gain in 95 of 100 comparisons, whatever the noise.

Simulated pulls with a known truth. Nominal coverage 0.95; pointwise Student t covers 0.61 at three pulls in the same
kind of simulation, and the band must be narrower than Bonferroni's over the same speeds.
"""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import gain
from app.calc.dyno.history import History, pooled_history, spread_of

Values = NDArray[np.float64]

POINTS = 200
SPEED = 2000.0 + 25.0 * np.arange(POINTS)
TRUTH = 150.0 + 60.0 * np.sin(np.linspace(0.3, 2.2, POINTS))
SIGMA = 0.004
KINDS = ("white", "smooth", "level and smooth", "growing to spool-up")


def _smooth(rng: np.random.Generator, count: int, length: int) -> Values:
    kernel = np.exp(-0.5 * (np.arange(-3 * length, 3 * length + 1) / length) ** 2)
    kernel /= np.sqrt((kernel**2).sum())
    noise = rng.standard_normal((count, POINTS + kernel.size - 1))
    return np.stack([np.convolve(row, kernel, mode="valid") for row in noise])


def relative_noise(rng: np.random.Generator, kind: str, count: int) -> Values:
    """(count, POINTS) of about unit variance."""
    if kind == "white":
        return rng.standard_normal((count, POINTS))
    smooth = _smooth(rng, count, 12)
    if kind == "smooth":
        return smooth
    if kind == "growing to spool-up":
        return smooth * np.linspace(2.0, 0.6, POINTS)
    return 0.8 * rng.standard_normal((count, 1)) + 0.6 * smooth


def _pulls(rng: np.random.Generator, kind: str, count: int, scale: float = 1.0) -> Pulls:
    power = TRUTH * (1.0 + SIGMA * scale * relative_noise(rng, kind, count))
    return Pulls(SPEED, power / SPEED * 30000.0 / np.pi, power)


def _history(rng: np.random.Generator, kind: str) -> History:
    spreads = []
    for _ in range(10):
        noise = SIGMA * relative_noise(rng, kind, 3)
        spread = spread_of(noise - noise.mean(axis=0))
        assert spread is not None
        spreads.append(spread)
    found = pooled_history(spreads)
    assert found is not None
    return found


def coverage(kind: str, count: int, *, with_history: bool, times: int, scale: float = 1.0) -> tuple[float, float]:
    """Share of comparisons whose band holds zero everywhere, and the median half width against Bonferroni's."""
    rng = np.random.default_rng(11)
    inside, widths = 0, []
    histories = [_history(rng, kind) for _ in range(6)] if with_history else [None]
    for k in range(times):
        a, b = _pulls(rng, kind, count), _pulls(rng, kind, count, scale)
        found = gain(a, b, history=histories[k % len(histories)])
        half = found.half_kw
        assert half is not None
        inside += bool((np.abs(found.gain_kw) <= half).all())
        own = np.concatenate([p.power_kw - p.power_kw.mean(axis=0) for p in (a, b)])
        sd = np.sqrt((own**2).sum(axis=0) / (2 * count - 2) * 2 / count)
        bonferroni = stats.t.ppf(1 - 0.025 / POINTS, 2 * count - 2) * sd
        widths.append(float(np.median(half) / np.median(bonferroni)))
    return inside / times, float(np.median(widths))


@pytest.mark.parametrize("with_history", [False, True])
@pytest.mark.parametrize("count", [2, 3, 10])
@pytest.mark.parametrize("kind", KINDS)
def test_the_band_covers_the_whole_curve(kind: str, count: int, with_history: bool) -> None:
    # 100 comparisons: the standard error of the share is 2.2 %.
    share, width = coverage(kind, count, with_history=with_history, times=100)
    assert share >= 0.88
    assert width < 1.0


@pytest.mark.release
@pytest.mark.parametrize("with_history", [False, True])
@pytest.mark.parametrize("scale", [1.0, 2.0])
@pytest.mark.parametrize("count", [2, 3, 4, 5, 7, 10])
@pytest.mark.parametrize("kind", KINDS)
def test_the_band_covers_as_it_says(kind: str, count: int, scale: float, with_history: bool) -> None:
    # 3,000 comparisons: the standard error of the share is 0.4 %.
    share, _ = coverage(kind, count, with_history=with_history, times=3000, scale=scale)
    assert share >= 0.935
