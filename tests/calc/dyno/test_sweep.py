"""The shop can rely on it that the curve of a pull is made of the full-load sweep and of nothing else in the file.

The recordings are drawn here, so that their true sweep is known.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from app.calc.dyno.curve import curve_of, in_sweep
from app.calc.dyno.sweep import SHORTEST_RPM, find_sweep
from app.errors import BadInput

Values = NDArray[np.float64]


@dataclass
class Recording:
    """Speed, torque and where the true sweep begins and ends, in samples."""

    speed: Values
    torque: Values
    begins: int
    ends: int


def full_load(speed: Values) -> Values:
    return 250 - ((speed - 4000) / 300) ** 2


def recording(
    hz: int = 50, *, noise_rpm: float = 2.0, low: float = 1500, high: float = 6500, seconds: float = 8, seed: int = 1
) -> Recording:
    """Three seconds of steady running, the sweep, the lift-off with the speed still rising, coasting down."""
    draw = np.random.default_rng(seed)
    steady, sweep, lift, coast = 3 * hz, int(seconds * hz), max(1, int(0.4 * hz)), 6 * hz
    rise = np.linspace(low, high, sweep)
    speed = np.concatenate([np.full(steady, low), rise, high + np.linspace(5, 80, lift), np.linspace(high, low, coast)])
    torque = np.concatenate(
        [np.full(steady, 40.0), full_load(rise), np.linspace(180, -40, lift), np.full(coast, -40.0)]
    )
    speed = speed + draw.normal(0, noise_rpm, speed.size)
    return Recording(speed, torque + draw.normal(0, 0.5, torque.size), steady, steady + sweep)


@pytest.mark.parametrize("hz", [10, 20, 100, 1000])
@pytest.mark.parametrize("noise_rpm", [0.0, 5.0])
def test_start_and_lift_off_are_cut_at_any_sampling_rate(hz: int, noise_rpm: float) -> None:
    one = recording(hz, noise_rpm=noise_rpm)
    found = find_sweep(one.speed, one.torque)
    # Within 0.3 s of the true ends: of the 8 s sweep never less than 92 % is kept, of the rest nothing to speak of.
    assert one.begins - 0.06 * hz - 1 <= found.first <= one.begins + 0.3 * hz
    assert one.ends - 0.3 * hz <= found.last <= one.ends + 0.06 * hz + 1
    assert found.cut.startswith(f"{found.first:,} samples before and {one.speed.size - found.last:,} after")


@pytest.mark.parametrize("hz", [10, 20, 100, 1000])
def test_the_curve_is_the_full_load_curve_to_two_percent_up_to_its_ends(hz: int) -> None:
    one = recording(hz, noise_rpm=5.0)
    curve = curve_of({"engine_speed_rpm": one.speed, "torque_nm": one.torque})
    error = np.abs(curve.torque_nm / full_load(curve.speed_rpm) - 1)
    assert error.max() < 0.035 and error.mean() < 0.006


def test_a_clean_table_is_taken_whole() -> None:
    speed = np.arange(1500.0, 6501.0, 50.0)
    found = find_sweep(speed, full_load(speed))
    assert (found.first, found.last) == (0, speed.size)


def test_a_table_of_250_rpm_steps_is_a_sweep() -> None:
    speed = np.arange(1500.0, 6501.0, 250.0)
    found = find_sweep(speed, full_load(speed))
    assert (found.first, found.last) == (0, speed.size)


def test_a_plateau_at_the_limiter_is_cut() -> None:
    one = recording(50)
    stay = np.full(100, 6500.0) + np.random.default_rng(3).normal(0, 2, 100)
    speed = np.concatenate([one.speed[: one.ends], stay])
    torque = np.concatenate([one.torque[: one.ends], np.full(100, 150.0)])
    found = find_sweep(speed, torque)
    assert one.ends - 15 <= found.last <= one.ends + 3


def test_of_two_sweeps_the_one_over_the_wider_range_counts_and_it_is_said() -> None:
    short, wide = recording(50, low=2000, high=4500, seconds=12), recording(50, seed=2)
    speed, torque = np.concatenate([short.speed, wide.speed]), np.concatenate([short.torque, wide.torque])
    found = find_sweep(speed, torque)
    assert found.first >= short.speed.size + wide.begins - 8
    assert found.cut.endswith("of 2 sweeps in this recording the one over the widest range of speeds was taken")
    turned = find_sweep(np.concatenate([wide.speed, short.speed]), np.concatenate([wide.torque, short.torque]))
    assert turned.last <= wide.ends + 3


def test_steep_torque_fall_at_high_speed_is_no_lift_off() -> None:
    """A curve that loses 30 % over its last 500 rpm, as small turbochargers do (invented)."""
    speed = np.linspace(1500, 6500, 400)
    torque = 300 * (1 - 0.3 * np.clip((speed - 6000) / 500, 0, None))
    assert find_sweep(speed, torque).last == 400


def test_a_recording_without_a_sweep_is_refused() -> None:
    draw = np.random.default_rng(4)
    steady = 3000 + draw.normal(0, 3, 500)
    for speed in (steady, np.linspace(6000, 1500, 300), np.linspace(2000, 2400, 300), np.array([1.0, 2.0, 3.0])):
        with pytest.raises(BadInput):
            find_sweep(speed, np.full(speed.size, 200.0))


@settings(max_examples=200, deadline=None)
@given(
    hz=st.sampled_from([10, 25, 100, 400]),
    noise=st.floats(0, 6),
    low=st.floats(1000, 2500),
    span=st.floats(1500, 5000),
    seconds=st.floats(5, 15),
    seed=st.integers(0, 10**6),
)
def test_what_is_kept_lies_inside_the_true_sweep_and_covers_it(
    hz: int, noise: float, low: float, span: float, seconds: float, seed: int
) -> None:
    one = recording(hz, noise_rpm=noise, low=low, high=low + span, seconds=seconds, seed=seed)
    found = find_sweep(one.speed, one.torque)
    slack = 0.3 * hz + 6
    assert one.begins - slack <= found.first and found.last <= one.ends + slack
    kept = one.speed[found.last - 1] - one.speed[found.first]
    assert kept > 0.75 * span > SHORTEST_RPM


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e4, 1e5), st.floats(-1e4, 1e4)), max_size=120).map(
        lambda rows: np.array(rows, dtype=float).reshape(-1, 2)
    )
)
def test_any_numbers_give_a_sweep_or_a_sentence(rows: Values) -> None:
    speed, torque = rows[:, 0], rows[:, 1]
    try:
        found = find_sweep(speed, torque)
    except BadInput as refused:
        assert refused.sentence.startswith("No pull was found in this recording")
    else:
        assert 0 <= found.first < found.last <= speed.size and found.last - found.first >= 8


def test_limits_see_the_sweep_alone_although_a_sample_is_missing() -> None:
    one = recording(50)
    torque = one.torque.copy()
    torque[[10, 300]] = np.nan
    lambda_ = np.where(one.torque > 150, 0.85, 1.9)  # lean before the sweep and from the lift-off on
    kept = in_sweep({"engine_speed_rpm": one.speed, "torque_nm": torque, "lambda_": lambda_})
    assert kept["lambda_"].max() == 0.85
    assert kept["engine_speed_rpm"].size == kept["lambda_"].size > 350
    assert np.isnan(kept["torque_nm"]).sum() == 1


def test_a_recording_without_a_sweep_is_kept_whole_for_the_limits() -> None:
    channels = {"engine_speed_rpm": np.full(50, 900.0), "torque_nm": np.zeros(50), "lambda_": np.ones(50)}
    assert in_sweep(channels)["lambda_"].size == 50
    assert in_sweep({"lambda_": np.ones(5)})["lambda_"].size == 5
