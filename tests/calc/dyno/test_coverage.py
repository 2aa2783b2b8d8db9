"""The shop can rely on it that "95 % over the whole curve" is true: simulated gains, counted.

The source of truth is the simulation's own curve. Ordinary methods fail here: pointwise t covers 0.61 of whole curves
at three pulls, the bootstrap of the largest t is useless (data/statistics.json, simultaneous_bands).
"""

import functools
import itertools

import numpy as np
import pytest

from app.calc.dyno.gain import gain
from tests.calc.dyno.simulated_pulls import AFTER, BEFORE, KINDS, Coverage, coverage, past, session

REPEATS = 120
# A share of 120 has a standard error of 2 %; four of these below 95 % would be a broken band and no bad luck.
LEAST = 0.87


@functools.cache
def counted(kind: str, sessions: int) -> Coverage:
    return coverage(kind, 3, sessions=sessions, repeats=REPEATS)


@pytest.mark.parametrize("sessions", [0, 10])
@pytest.mark.parametrize("kind", KINDS)
def test_three_pulls_each(kind: str, sessions: int) -> None:
    found = counted(kind, sessions)
    assert found.covered >= LEAST
    assert found.half_kw < found.bonferroni_kw


def test_over_all_kinds_together_it_is_95_percent() -> None:
    shares = [counted(kind, sessions).covered for kind in KINDS for sessions in (0, 10)]
    # The mean of twelve shares of 120: standard error 0.6 %.
    assert 0.93 <= sum(shares) / len(shares) <= 0.978


@pytest.mark.parametrize("pulls", [2, 10])
def test_few_and_many_pulls(pulls: int) -> None:
    found = [coverage(kind, pulls, sessions=sessions, repeats=50) for kind in KINDS for sessions in (0, 10)]
    # The mean of twelve shares of 50: standard error 0.9 %.
    assert 0.925 <= sum(one.covered for one in found) / len(found) <= 0.985
    assert all(one.half_kw < one.bonferroni_kw for one in found)


@pytest.mark.parametrize("kind", ["white", "smooth", "level"])
def test_one_session_that_scatters_twice_as_much(kind: str) -> None:
    assert coverage(kind, 3, noisier=2.0, repeats=REPEATS).covered >= LEAST


@pytest.mark.parametrize("pulls", [2, 3])
@pytest.mark.parametrize("kind", ["smooth", "level", "mixed"])
def test_one_session_that_scatters_twice_as_much_as_ten_calm_ones(kind: str, pulls: int) -> None:
    """Before the history gave way to what a few pulls cannot show, two mixed pulls were covered 0.84."""
    assert coverage(kind, pulls, sessions=10, noisier=2.0, repeats=REPEATS).covered >= LEAST


def test_ten_past_sessions_narrow_the_band_by_a_third() -> None:
    alone, backed = counted("smooth", 0), counted("smooth", 10)
    assert backed.half_kw < 0.72 * alone.half_kw
    assert backed.half_kw < 0.35 * alone.bonferroni_kw


def test_one_pull_each_is_covered_by_history_alone() -> None:
    draw = np.random.default_rng(3)
    covered = 0
    for _ in range(REPEATS):
        history = past(draw, "smooth", 15)
        before, after = session(draw, BEFORE, "smooth", 1), session(draw, AFTER, "smooth", 1)
        half = gain(before, after, history=history).half_kw
        assert half is not None
        error = after.power_kw[0] - before.power_kw[0] - (AFTER - BEFORE)
        covered += bool((np.abs(error) <= half).all())
    assert covered / REPEATS >= LEAST


# The long programme. A share of 4000 has a standard error of 0.35 %: two of them are allowed beside 0.935 … 0.965.
RELEASE_REPEATS = 4000
LOWEST, HIGHEST = 0.935 - 0.007, 0.965 + 0.007


@pytest.mark.release
@pytest.mark.parametrize(("kind", "pulls", "sessions"), [*itertools.product(KINDS, range(2, 11), [0, 10])])
def test_every_kind_and_number_of_pulls(kind: str, pulls: int, sessions: int) -> None:
    found = coverage(kind, pulls, sessions=sessions, repeats=RELEASE_REPEATS, seed=4)
    assert LOWEST <= found.covered <= HIGHEST


@pytest.mark.release
@pytest.mark.parametrize(("kind", "pulls"), [*itertools.product(KINDS, [2, 3, 5, 10])])
def test_every_kind_with_one_session_twice_as_noisy(kind: str, pulls: int) -> None:
    found = coverage(kind, pulls, noisier=2.0, repeats=RELEASE_REPEATS, seed=5)
    assert LOWEST <= found.covered <= HIGHEST


@pytest.mark.release
@pytest.mark.parametrize(("kind", "pulls"), [*itertools.product(KINDS, [2, 3, 5, 10])])
def test_one_session_twice_as_noisy_as_the_dyno_ever_was(kind: str, pulls: int) -> None:
    """A calm history must not be lent to pulls too few to show that they are no ordinary ones."""
    found = coverage(kind, pulls, sessions=10, noisier=2.0, repeats=RELEASE_REPEATS, seed=7)
    assert LOWEST <= found.covered <= HIGHEST


@pytest.mark.release
@pytest.mark.parametrize(("kind", "pulls"), [*itertools.product(KINDS, [2, 3, 5, 10])])
def test_every_kind_on_a_dyno_whose_sessions_differ(kind: str, pulls: int) -> None:
    """Sessions differ by 35 % in their standard deviation. Borrowing from them may only widen the band: up to 0.989
    counted."""
    found = coverage(kind, pulls, sessions=20, spread=0.35, repeats=RELEASE_REPEATS, seed=6)
    assert LOWEST <= found.covered <= 0.995
