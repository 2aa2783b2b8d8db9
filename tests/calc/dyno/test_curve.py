"""The shop can rely on it that a pull's curve is the pull's, without swings, slopes or shifts of the fit's own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import savgol_filter

from app.calc.dyno.curve import Curve, curve_of, local_fit, on_common_grid, torque_of
from app.errors import BadInput

Values = NDArray[np.float64]


def at_grid(x: Values) -> Values:
    return np.arange(np.ceil(x.min() / 25), np.floor(x.max() / 25) + 1) * 25.0


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    count=st.integers(12, 400),
    curvature=st.floats(-1e-4, 1e-4),
    vertex=st.floats(1500, 6500),
    level=st.floats(50, 900),
)
def test_a_quadratic_torque_curve_comes_back_exactly_however_it_was_sampled(
    seed: int, count: int, curvature: float, vertex: float, level: float
) -> None:
    x = np.unique(np.round(np.random.default_rng(seed).uniform(1500, 6500, count), 1))
    grid = at_grid(x)
    found = local_fit(x, level + curvature * (x - vertex) ** 2, grid)
    assert np.allclose(found, level + curvature * (grid - vertex) ** 2, rtol=1e-8, atol=1e-5)


def test_evenly_sampled_noise_is_smoothed_about_as_much_as_by_savitzky_and_golay() -> None:
    """scipy's filter of order 2 with the window of the fit's half width, on white noise: the remaining standard
    deviation of ours (tricube weights, so a narrower effective window) lies within 10 to 40 % above it."""
    x = np.arange(1500.0, 6500.0, 5.0)
    noise = np.random.default_rng(7).normal(0, 1, x.size)
    ours = local_fit(x, noise, x[100:-100:5]).std()
    theirs = savgol_filter(noise, 43, 2)[100:-100:5].std()
    assert 1.1 < ours / theirs < 1.4


@pytest.mark.parametrize("spacing,most", [(1.0, 0.0001), (10.0, 0.005), (50.0, 0.065), (250.0, 0.065)])
def test_a_step_is_not_overshot_where_the_samples_are_dense(spacing: float, most: float) -> None:
    """A torque step of 100 N·m. Where samples lie apart nobody can know that it was a step; even there the fit swings
    less than the interpolating cubic spline, which overshoots by 10 %."""
    x = np.arange(1500.0, 6501.0, spacing)
    y = np.where(x > 4001, 300.0, 200.0)
    fine = np.arange(1500.0, 6501.0, 5.0)
    found = local_fit(x, y, fine)
    assert found.max() <= 300 + 100 * most and found.min() >= 200 - 100 * most
    if spacing > 5:
        assert CubicSpline(x, y)(fine).max() > 310
    far = np.abs(fine - 4001) > max(250.0, 5 * spacing)
    assert np.allclose(found[far], y.min() + 100.0 * (fine[far] > 4001))


def test_speed_told_in_coarse_steps_gives_a_curve() -> None:
    """A logger that tells engine speed in steps of 100 rpm, twenty samples each."""
    x = np.repeat(np.arange(1500.0, 6501.0, 100.0), 20)
    y = 0.05 * x
    assert np.allclose(local_fit(x, y, at_grid(x)), 0.05 * at_grid(x))


def test_too_few_speeds_are_refused() -> None:
    with pytest.raises(BadInput, match="three different engine speeds"):
        local_fit(np.array([1.0, 1.0, 2.0]), np.ones(3), np.array([1.0]))


def test_a_fast_logger_costs_no_more_than_a_slow_one() -> None:
    """200,000 samples: averaged within 1 rpm, which moves a curve of 1e-4 N·m/rpm² by less than 1e-4 N·m."""
    x = np.sort(np.random.default_rng(2).uniform(1500, 6500, 200_000))
    grid = at_grid(x)
    found = local_fit(x, 300 - 1e-4 * (x - 4000) ** 2, grid)
    assert np.allclose(found, 300 - 1e-4 * (grid - 4000) ** 2, atol=5e-4)


def test_power_is_torque_times_speed_and_the_factor_applies_to_both() -> None:
    speed = np.arange(1500.0, 6501.0, 10.0)
    torque = 400 - ((speed - 4000) / 300) ** 2
    plain = curve_of({"engine_speed_rpm": speed, "torque_nm": torque})
    at_5500 = plain.speed_rpm == 5500
    # 400 N·m at 5500 rpm = 230.383461 kW (exact definition of power; NIST SP 811 for the constants).
    assert plain.power_kw[at_5500] == pytest.approx(230.383461 * (400 - 25) / 400)
    corrected = curve_of({"engine_speed_rpm": speed, "torque_nm": torque}, factor=1.0319)
    assert np.allclose(corrected.torque_nm, 1.0319 * plain.torque_nm)
    assert np.allclose(corrected.power_kw, 1.0319 * plain.power_kw)


def test_power_alone_gives_the_same_curve_as_torque_alone() -> None:
    speed = np.arange(1500.0, 6501.0, 10.0)
    torque = 300 - ((speed - 4000) / 300) ** 2
    one = curve_of({"engine_speed_rpm": speed, "torque_nm": torque})
    other = curve_of({"engine_speed_rpm": speed, "power_kw": torque * speed * np.pi / 30000})
    assert np.allclose(one.power_kw, other.power_kw)


def test_missing_samples_and_missing_channels() -> None:
    speed, torque = np.array([1.0, np.nan, 3.0]), np.array([1.0, 2.0, np.nan])
    assert [part.tolist() for part in torque_of({"engine_speed_rpm": speed, "torque_nm": torque})] == [[1.0], [1.0]]
    with pytest.raises(BadInput, match="no engine speed"):
        torque_of({"torque_nm": torque})
    with pytest.raises(BadInput, match="neither torque nor power"):
        torque_of({"engine_speed_rpm": speed})


def of_range(low: float, high: float) -> Curve:
    grid = np.arange(low, high + 1, 25.0)
    return Curve(grid, grid / 20, grid / 50)


def test_pulls_are_cut_to_what_all_of_them_cover() -> None:
    pulls = on_common_grid([of_range(1500, 6500), of_range(1700, 6400), of_range(1600, 6450)])
    assert pulls.speed_rpm[[0, -1]].tolist() == [1700, 6400]
    assert pulls.count == 3 and pulls.power_kw.shape == (3, pulls.speed_rpm.size)
    assert np.array_equal(pulls.mean.torque_nm, pulls.speed_rpm / 20)
    part = pulls.within(2000, 3000)
    assert part.speed_rpm[[0, -1]].tolist() == [2000, 3000] and part.torque_nm.shape == (3, 41)


def test_pulls_that_share_too_little_are_refused() -> None:
    with pytest.raises(BadInput, match="share only 300 rpm"):
        on_common_grid([of_range(1500, 4000), of_range(3700, 6500)])
    with pytest.raises(BadInput, match="No pull counts"):
        on_common_grid([])
