"""The shop can rely on it that the number of pulls it is told to make resolves the gain it hopes for.

Check values: 80 % power of the two-sided t test at 5 % (statsmodels), in data/statistics.json under small_samples.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from app.calc.dyno.gain import gain
from app.calc.dyno.noise_structure import structure_of
from app.calc.dyno.planning import MOST_PULLS, pulls_needed, resolvable_kw, student
from app.calc.dyno.simultaneous import planned_threshold
from app.errors import BadInput
from tests.calc.dyno.simulated_pulls import BEFORE, RELATIVE_NOISE, SPEED, noise, past, session
from tests.calc.dyno.statistics_cases import CASES

ROWS = CASES["small_samples"]["power"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row["n_per_group"]))
def test_detectable_differences(row: dict[str, float]) -> None:
    n, difference = int(row["n_per_group"]), row["detectable_difference_in_s_80pct_power"]
    assert resolvable_kw(1.0, n) == pytest.approx(difference, abs=6e-5)
    assert resolvable_kw(2.5, n) == pytest.approx(2.5 * difference, abs=2e-4)
    assert pulls_needed(1.0, difference * 1.001) == n
    assert pulls_needed(1.0, difference * 0.999) in (n + 1, n + 2) or n == 10
    assert (pulls_needed(1.0, difference * 0.999) or 99) > n


def test_the_power_is_what_simulation_gives() -> None:
    """Three pulls each, a true difference of 3.07 s: scipy's t test finds it in 80 % of 4,000 draws (± 1.3 %)."""
    draw = np.random.default_rng(8)
    found = stats.ttest_ind(draw.normal(0, 1, (4000, 3)), draw.normal(3.0709, 1, (4000, 3)), axis=1).pvalue < 0.05
    assert np.mean(found) == pytest.approx(0.8, abs=0.02)


def test_a_history_spares_pulls() -> None:
    assert resolvable_kw(1.0, 2, limit=student(40)) < resolvable_kw(1.0, 2) / 1.9
    # With the standard deviation known, n = 2·(1.96 + 0.8416)² / d² (normal approximation, NIST handbook 7.2.2.2).
    assert pulls_needed(1.0, 1.0, limit=student(10_000)) == int(np.ceil(2 * (1.959964 + 0.841621) ** 2))


def test_what_no_number_of_pulls_resolves() -> None:
    assert pulls_needed(1.0, 0.1) is None
    assert pulls_needed(0.0, 5.0) == 2
    with pytest.raises(BadInput, match="above zero"):
        pulls_needed(1.0, 0.0)


@settings(max_examples=200, deadline=None)
@given(sd=st.floats(0.1, 10), wanted=st.floats(0.5, 40), dof=st.integers(0, 60))
def test_the_answer_resolves_the_gain_and_one_pull_fewer_does_not(sd: float, wanted: float, dof: int) -> None:
    n = pulls_needed(sd, wanted, limit=student(dof))
    if n is None:
        assert resolvable_kw(sd, MOST_PULLS, limit=student(dof)) > wanted * 0.999
        return
    assert resolvable_kw(sd, n, limit=student(dof)) <= wanted * 1.002
    if n > 2:
        assert resolvable_kw(sd, n - 1, limit=student(dof)) > wanted * 0.999


@pytest.mark.parametrize(("kind", "sessions"), [("ripple", 0), ("level", 0), ("mixed", 10)])
def test_the_planned_gain_leaves_the_band_in_about_8_of_10_comparisons(kind: str, sessions: int) -> None:
    """Simulated pulls of known scatter, three before and three after; the standard error of a share of 200 is 2.8 %.
    Sessions that by chance do not scatter alike get a wider band, which costs up to 8 of 100 cases."""
    draw = np.random.default_rng(31)
    many = noise(draw, kind, 200) * RELATIVE_NOISE
    structure = structure_of(many - many.mean(axis=0), 199.0)
    at = int(np.argmax(BEFORE))
    sd = float(BEFORE[at]) * RELATIVE_NOISE * {"mixed": np.sqrt(1.25)}.get(kind, 1.0)
    proven = 0
    for _ in range(200):
        history = past(draw, kind, sessions) if sessions else None
        planned = planned_threshold(structure, history, points=SPEED.size, pulls=3)
        assert planned is not None
        wanted = resolvable_kw(sd, 3, limit=lambda _, planned=planned: planned)
        found = gain(session(draw, BEFORE, kind, 3), session(draw, BEFORE + wanted, kind, 3), history=history)
        assert found.half_kw is not None
        proven += bool(found.gain_kw[at] > found.half_kw[at])
    assert 0.68 <= proven / 200 <= 0.88


def test_nothing_known_plans_no_band() -> None:
    assert planned_threshold(None, None, points=200, pulls=3) is None
