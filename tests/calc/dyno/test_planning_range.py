"""The number of pulls falls with the gain that is hoped for, however large that is."""

from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.dyno.planning import MOST_PULLS, pulls_needed, student


@settings(deadline=None)
@given(st.floats(0.05, 5.0), st.floats(0.1, 500.0), st.integers(0, 60))
def test_a_larger_gain_never_takes_more_pulls(sd: float, wanted: float, history: int) -> None:
    few = pulls_needed(sd, 2 * wanted, limit=student(history)) or MOST_PULLS + 1
    many = pulls_needed(sd, wanted, limit=student(history)) or MOST_PULLS + 1
    assert 2 <= few <= many
