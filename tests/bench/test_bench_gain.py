"""A gain with its band over the whole curve, 3 + 3 pulls at 200 speeds on a dyno with 40 past sessions, beside scipy's
bootstrap of the same difference as it comes, which is pointwise and covers far less than it says at three pulls.

Run with --benchmark-enable. Target: 10 ms of CPU, a tenth of the bootstrap.
Measured on two busy cores, in turn: 2.8 ms of CPU with 40 past sessions, 2.2 ms without any, the bootstrap 38 ms.
"""

import numpy as np
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.stats import bootstrap

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain, gain
from app.calc.dyno.history import Spread, pooled_history, spread_of
from tests.bench.timing import medians
from tests.calc.dyno.simulated_pulls import AFTER, BEFORE, RELATIVE_NOISE, SPEED, noise, session

Values = NDArray[np.float64]
MOST_OF_BOOTSTRAP = 0.1


def _spreads(draw: np.random.Generator, sessions: int) -> list[Spread]:
    found = []
    for _ in range(sessions):
        residuals = RELATIVE_NOISE * noise(draw, "smooth", 3)
        spread = spread_of(residuals - residuals.mean(axis=0))
        assert spread is not None
        found.append(spread)
    return found


def _of(spreads: list[Spread], before: Pulls, after: Pulls) -> Gain:
    return gain(before, after, history=pooled_history(spreads))


def _bootstrap(before: Pulls, after: Pulls) -> Values:
    def difference(a: Values, b: Values, axis: int) -> Values:
        result: Values = b.mean(axis=axis) - a.mean(axis=axis)
        return result

    found = bootstrap((before.power_kw, after.power_kw), difference, axis=0, vectorized=True, rng=1)
    return np.stack(found.confidence_interval)


def test_a_gain_costs_a_tenth_of_a_bootstrap(benchmark: BenchmarkFixture) -> None:
    draw = np.random.default_rng(1)
    spreads = _spreads(draw, 40)
    before, after = session(draw, BEFORE, "smooth", 3), session(draw, AFTER, "smooth", 3)
    assert SPEED.size == 200
    found = _of(spreads, before, after)
    assert found.half_kw is not None and found.used_history
    assert _bootstrap(before, after).shape == (2, 200)
    few = bool(benchmark.disabled)
    ours, alone, theirs = medians(
        1 if few else 30,
        lambda: _of(spreads, before, after),
        lambda: gain(before, after),
        lambda: _bootstrap(before, after),
    )
    benchmark.extra_info |= {
        "with 40 past sessions, s": ours,
        "without history, s": alone,
        "bootstrap, s": theirs,
        "with history / bootstrap": ours / theirs,
    }
    benchmark(_of, spreads, before, after)
    assert few or ours <= MOST_OF_BOOTSTRAP * theirs
