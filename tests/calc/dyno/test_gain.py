"""The shop can rely on it that a gain is the difference that was measured, with what is not known beside it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.dyno.gain import at_speed, band_average, gain, peak, shares, verdict
from app.calc.dyno.simultaneous import pulls_to_lean
from app.errors import BadInput
from tests.calc.dyno.simulated_pulls import AFTER, BEFORE, SPEED, past, pulls_of, session

DRAW = np.random.default_rng(20)
THREE = session(DRAW, BEFORE, "mixed", 3), session(DRAW, AFTER, "mixed", 3)
HISTORY = past(DRAW, "mixed", 12)


def test_the_gain_is_the_difference_of_the_means() -> None:
    found = gain(*THREE)
    assert np.allclose(found.gain_kw, THREE[1].power_kw.mean(axis=0) - THREE[0].power_kw.mean(axis=0))
    assert np.allclose(found.gain_nm, found.gain_kw * 30000.0 / (np.pi * found.speed_rpm))
    assert found.half_kw is not None and found.half_nm is not None
    assert np.allclose(found.half_nm, found.half_kw * 30000.0 / (np.pi * found.speed_rpm))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**20), st.integers(2, 5), st.booleans())
def test_the_way_back_is_the_same_gain_with_the_other_sign(seed: int, pulls: int, with_history: bool) -> None:
    draw = np.random.default_rng(seed)
    a, b = session(draw, BEFORE, "ripple", pulls), session(draw, AFTER, "ripple", pulls)
    history = HISTORY if with_history else None
    there, back = gain(a, b, history=history), gain(b, a, history=history)
    assert np.allclose(there.gain_kw, -back.gain_kw)
    assert there.half_kw is not None and back.half_kw is not None
    assert np.allclose(there.half_kw, back.half_kw, rtol=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.05, 20.0), st.booleans())
def test_another_unit_of_power_scales_gain_and_band_alike(factor: float, with_history: bool) -> None:
    history = HISTORY if with_history else None
    plain = gain(*THREE, history=history)
    scaled = gain(pulls_of(THREE[0].power_kw * factor), pulls_of(THREE[1].power_kw * factor), history=history)
    assert plain.half_kw is not None and scaled.half_kw is not None
    assert np.allclose(scaled.half_kw, plain.half_kw * factor, rtol=1e-6)


def test_a_session_against_itself_gains_nothing() -> None:
    found = gain(THREE[0], THREE[0])
    assert np.all(found.gain_kw == 0.0)
    assert shares(found) is not None and shares(found).within == 1.0  # type: ignore[union-attr]  # asserted before
    assert verdict(found).startswith("No change is proven")


def test_history_narrows_the_band_and_says_so() -> None:
    narrower = []
    warned = 0
    for seed in range(12):
        draw = np.random.default_rng(seed)
        a, b = session(draw, BEFORE, "ripple", 3), session(draw, AFTER, "ripple", 3)
        alone, backed = gain(a, b), gain(a, b, history=past(draw, "ripple", 12))
        assert alone.half_kw is not None and backed.half_kw is not None
        assert ("12 earlier sessions" in backed.method) == backed.used_history
        warned += bool(backed.warnings)
        narrower.append(backed.half_kw.mean() / alone.half_kw.mean())
    assert np.median(narrower) < 0.85
    assert warned <= 4


def test_one_earlier_session_is_counted_as_one() -> None:
    """The sentence stands on the report that a customer reads."""
    told = [
        found.method
        for seed in range(12)
        for draw in [np.random.default_rng(seed)]
        for found in [
            gain(
                session(draw, BEFORE, "mixed", 8),
                session(draw, AFTER, "mixed", 8),
                history=replace(HISTORY, sessions=1),
            )
        ]
        if found.used_history
    ]
    assert told
    assert all("scatter of these 16 pulls and of 1 earlier session on this dyno" in method for method in told)


def test_a_session_much_noisier_than_the_history_stands_alone() -> None:
    draw = np.random.default_rng(21)
    noisy = session(draw, BEFORE, "ripple", 3, scale=5.0), session(draw, AFTER, "ripple", 3, scale=5.0)
    found = gain(*noisy, history=past(draw, "ripple", 12))
    assert not found.used_history
    assert any("scatter significantly more" in warning for warning in found.warnings)


def test_a_session_noisier_in_one_quarter_only_does_not_borrow_calm_there() -> None:
    draw = np.random.default_rng(22)
    calm = past(draw, "ripple", 20)
    growing = session(draw, BEFORE, "growing", 5, scale=1.2), session(draw, AFTER, "growing", 5, scale=1.2)
    assert not gain(*growing, history=calm).used_history


def test_sessions_that_scatter_differently_are_said_to() -> None:
    draw = np.random.default_rng(23)
    found = gain(session(draw, BEFORE, "white", 4), session(draw, AFTER, "white", 4, scale=2.0))
    assert any("scatter differently" in warning for warning in found.warnings)


def test_pulls_too_few_to_show_a_doubled_scatter_do_not_lean_on_the_history_and_say_from_how_many_they_would() -> None:
    """Level noise: a pull is worth one value, and three of them tell little; eight of them do."""
    draw = np.random.default_rng(26)
    history = past(draw, "level", 12)
    alone = gain(*THREE, history=history)
    assert not alone.used_history
    assert alone.half_kw is not None and np.allclose(alone.half_kw, gain(*THREE).half_kw)
    [warning] = alone.warnings
    assert "cannot show whether they repeat as this dyno usually does" in warning
    enough = int(warning.split(" From ")[1].split()[0])
    assert 5 <= enough <= 12
    many = session(draw, BEFORE, "level", enough), session(draw, AFTER, "level", enough)
    assert gain(*many, history=history).used_history
    assert not any("cannot show" in warning for warning in gain(*THREE).warnings)


def test_a_history_of_waves_is_leant_on_with_fewer_pulls_than_one_of_levels() -> None:
    draw = np.random.default_rng(28)
    levels, waves, white = (past(draw, kind, 12) for kind in ("level", "smooth", "white"))
    assert levels is not None and waves is not None and white is not None
    counts = [pulls_to_lean(one) for one in (white, waves, levels)]
    assert counts == sorted(counts, key=lambda count: count or 99)
    assert counts[0] == 2 and counts[1] in (3, 4) and (counts[2] or 99) >= 6


def test_pulls_that_show_it_nearly_lean_on_the_history_in_part() -> None:
    draw = np.random.default_rng(27)
    five = session(draw, BEFORE, "mixed", 5), session(draw, AFTER, "mixed", 5)
    alone, partly = gain(*five), gain(*five, history=HISTORY)
    assert partly.used_history
    assert any("counts in part" in warning for warning in partly.warnings)
    assert alone.half_kw is not None and partly.half_kw is not None
    assert partly.half_kw.mean() < alone.half_kw.mean()


def test_very_different_numbers_of_pulls_are_warned_of() -> None:
    draw = np.random.default_rng(24)
    found = gain(session(draw, BEFORE, "ripple", 2), session(draw, AFTER, "ripple", 6))
    assert any("2 pulls against 6" in warning for warning in found.warnings)


def test_one_pull_each_has_no_band_without_a_history() -> None:
    one = pulls_of(THREE[0].power_kw[:1]), pulls_of(THREE[1].power_kw[:1])
    found = gain(*one)
    assert found.half_kw is None and found.threshold is None
    assert shares(found) is None
    assert "not known" in verdict(found)
    assert at_speed(found, 4000.0).half_kw is None
    assert gain(*one, history=HISTORY).half_kw is not None


def test_pulls_that_are_copies_of_each_other_tell_no_uncertainty() -> None:
    copies = np.repeat(BEFORE[None], 3, axis=0)
    assert gain(pulls_of(copies), pulls_of(copies * 1.1)).half_kw is None


def test_a_stretch_where_pulls_agree_exactly_does_not_upset_the_band() -> None:
    power = THREE[0].power_kw.copy()
    power[:, :60] = BEFORE[:60]
    found = gain(pulls_of(power), THREE[1])
    assert found.half_kw is not None and np.isfinite(found.half_kw).all()


def test_a_curve_through_zero_does_not_upset_the_band() -> None:
    rising = BEFORE - BEFORE[0]
    draw = np.random.default_rng(25)
    before = pulls_of(rising + draw.normal(0.0, 1.0, (3, 1)))
    after = pulls_of(rising + 5.0 + draw.normal(0.0, 1.0, (3, 1)))
    found = gain(before, after)
    assert found.half_kw is not None and np.isfinite(found.half_kw).all()


def test_sessions_without_a_common_range_are_refused() -> None:
    low, high = THREE[0].within(2000.0, 3000.0), THREE[1].within(4000.0, 6000.0)
    with pytest.raises(BadInput):
        gain(low, high)


def test_read_offs_are_those_of_the_curves() -> None:
    found = gain(*THREE)
    row = at_speed(found, float(SPEED[40]))
    assert row.gain_kw == pytest.approx(row.after_kw - row.before_kw)
    assert row.gain_kw == pytest.approx(float(found.gain_kw[40]))
    with pytest.raises(BadInput):
        at_speed(found, 900.0)


def test_an_average_over_a_band_is_known_better_than_the_whole_curve() -> None:
    found = gain(*THREE)
    average = band_average(found, 4000.0, 6000.0)
    assert average.half_kw is not None and found.half_kw is not None
    keep = (SPEED >= 4000.0) & (SPEED <= 6000.0)
    assert average.gain_kw == pytest.approx(float(found.gain_kw[keep].mean()))
    assert average.half_kw < float(found.half_kw[keep].mean())
    with pytest.raises(BadInput):
        band_average(found, 4000.0, 4010.0)


def test_the_interval_of_an_average_holds_at_least_95_percent() -> None:
    covered = 0
    for seed in range(300):
        draw = np.random.default_rng(seed)
        found = gain(session(draw, BEFORE, "mixed", 3), session(draw, AFTER, "mixed", 3))
        average = band_average(found, 3000.0, 5000.0)
        keep = (SPEED >= 3000.0) & (SPEED <= 5000.0)
        assert average.half_kw is not None
        covered += abs(average.gain_kw - float((AFTER - BEFORE)[keep].mean())) <= average.half_kw
    # Standard error 1.3 % at 300.
    assert covered / 300 >= 0.91


def test_the_peak_comes_with_the_speeds_that_may_hold_it() -> None:
    curve = 100.0 - ((SPEED - 5000.0) / 500.0) ** 2
    found = peak(curve, SPEED, np.full(SPEED.size, 1.0))
    assert found.speed_rpm == 5000.0
    assert (found.speed_low_rpm, found.speed_high_rpm) == (4500.0, 5500.0)


def test_a_planted_gain_is_proven_where_it_is() -> None:
    draw = np.random.default_rng(26)
    better = BEFORE * np.where(SPEED > 4000.0, 1.08, 0.92)
    found = gain(
        session(draw, BEFORE, "smooth", 5), session(draw, better, "smooth", 5), history=past(draw, "smooth", 20)
    )
    parts = shares(found)
    assert parts is not None
    assert parts.better == pytest.approx((SPEED > 4000.0).mean(), abs=0.02)
    assert parts.worse == pytest.approx((SPEED <= 4000.0).mean(), abs=0.02)
    assert verdict(found).startswith("Proven: more power over")
