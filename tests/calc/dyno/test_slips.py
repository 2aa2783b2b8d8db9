"""The shop can rely on it that a mistyped number is pointed out and a steep curve is not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.dyno.slips import disagreement, find_slips, power_kw, torque_nm

SPEED = np.arange(1500.0, 7000.0, 100.0)
# A turbocharged curve with a steep spool-up: the hardest honest shape for a test on neighbours.
TORQUE = 150.0 + 250.0 / (1.0 + np.exp(-(SPEED - 2600.0) / 180.0)) - ((SPEED - 4500.0) / 300.0) ** 2


def test_power_is_torque_times_speed() -> None:
    """400 N·m at 5500 rpm = 230.383461 kW, from the definitions."""
    power = power_kw(np.array([400.0]), np.array([5500.0]))
    assert power[0] == pytest.approx(230.383461263, rel=1e-11)
    assert torque_nm(power, np.array([5500.0]))[0] == pytest.approx(400.0)
    assert np.isnan(torque_nm(power, np.array([0.0]))[0])


def test_a_steep_honest_curve_has_no_slips() -> None:
    assert find_slips(SPEED, TORQUE, None) == ()
    assert find_slips(SPEED, TORQUE, power_kw(TORQUE, SPEED)) == ()


@settings(max_examples=200)
@given(st.integers(2, SPEED.size - 3), st.sampled_from([100.0, -100.0, 60.0, -60.0]), st.integers(0, 2**16))
def test_a_slip_on_a_noisy_curve_is_found_and_named(row: int, error: float, seed: int) -> None:
    noisy = np.round(TORQUE * (1.0 + 0.002 * np.random.default_rng(seed).standard_normal(TORQUE.size)), 1)
    slipped = noisy.copy()
    slipped[row] += error
    found = {slip.row: slip for slip in find_slips(SPEED, slipped, None)}
    assert row in found
    assert found[row].expected == pytest.approx(noisy[row], rel=0.03)
    both = find_slips(SPEED, slipped, power_kw(noisy, SPEED))
    assert [(slip.row, slip.quantity) for slip in both] == [(row, "torque_nm")]


def test_383_for_483_is_recognised() -> None:
    torque = np.round(TORQUE + 130.0)
    place = int(np.argmin(np.abs(torque - 483.0)))
    torque[place] = 383.0
    (slip,) = find_slips(SPEED, torque, None)
    assert slip.instead == pytest.approx(483.0, abs=6.0)
    assert "was probably meant" in slip.sentence


def test_a_different_unit_throughout_is_not_called_a_slip() -> None:
    power = power_kw(TORQUE, SPEED) * 1.36
    assert find_slips(SPEED, TORQUE, power) == ()
    assert np.nanmedian(disagreement(SPEED, TORQUE, power)) == pytest.approx(0.36)
