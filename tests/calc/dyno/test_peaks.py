"""The shop can rely on it that a peak is that of the session's own whole curve, and that no gain is told where the
other session does not get to.

Curves are parabolas P = top − ((n − at) / 100)², whose highest point and value are known by construction.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import gain
from app.calc.dyno.mean_band import mean_band
from app.calc.dyno.peaks import curve_peaks, gain_at_peak


def session(low: float, high: float, at: float, top: float) -> Pulls:
    """Three pulls that scatter by half a percent."""
    speed = np.arange(low, high + 1, 25.0)
    mean: NDArray[np.float64] = top - ((speed - at) / 100) ** 2
    power = np.outer([0.995, 1.0, 1.005], mean)
    return Pulls(speed, power * 30000 / (np.pi * speed), power)


def test_a_peak_beyond_the_common_range_is_told_at_its_own_speed_and_value() -> None:
    before, after = session(2000, 6000, 5500, 150.0), session(2000, 6800, 6400, 165.0)
    result = gain(before, after)
    assert result.speed_rpm[-1] == 6000
    (stock, _), (tuned, _) = curve_peaks(before, result), curve_peaks(after, result)
    assert (stock.at.speed_rpm, stock.shared, stock.at_end) == (5500, True, False)
    assert stock.at.value == pytest.approx(150.0)
    assert (tuned.at.speed_rpm, tuned.shared, tuned.at_end) == (6400, False, False)
    assert tuned.at.value == pytest.approx(165.0)


def test_the_half_width_is_that_of_the_sessions_own_mean_curve() -> None:
    before, after = session(2000, 6000, 5500, 150.0), session(2000, 6800, 6400, 165.0)
    power, torque = curve_peaks(after, gain(before, after))
    band = mean_band(after)
    assert band.half_kw is not None and band.half_nm is not None
    assert power.half == pytest.approx(float(band.half_kw[np.argmax(after.mean.power_kw)]))
    assert torque.half == pytest.approx(float(band.half_nm[np.argmax(after.mean.torque_nm)]))


def test_the_gain_at_the_peak_is_read_off_where_both_sessions_get_to() -> None:
    before, after = session(2000, 6000, 5500, 150.0), session(2000, 6800, 6400, 165.0)
    result = gain(before, after)
    found = gain_at_peak(result, after)
    assert (found.shared, found.peak_rpm, found.read.speed_rpm) == (False, 6400, 6000)
    # At 6,000 rpm: 165 − 16 against 150 − 25.
    assert found.read.gain_kw == pytest.approx(24.0)
    shared = gain_at_peak(gain(before, session(2000, 6000, 5600, 160.0)), session(2000, 6000, 5600, 160.0))
    assert (shared.shared, shared.read.speed_rpm) == (True, 5600)


def test_the_gain_at_the_torque_peak_is_read_off_at_the_speed_of_the_highest_torque() -> None:
    before, after = session(2000, 6000, 5500, 900.0), session(2000, 6000, 5500, 1000.0)
    found = gain_at_peak(gain(before, after), after, of_torque=True)
    # T = P/ω with P = top − ((n − 5500)/100)² is highest at n = √(5500² − 100² · top), on the 25 rpm grid.
    assert found.read.speed_rpm == pytest.approx(np.sqrt(5500.0**2 - 100.0**2 * 1000.0), abs=25)
    at = found.read.speed_rpm
    assert found.read.gain_nm == pytest.approx(100.0 * 30000 / (np.pi * at), rel=1e-6)


def test_a_curve_that_still_rises_at_its_end_has_no_peak_there() -> None:
    before, after = session(2000, 6000, 7500, 4000.0), session(2000, 6000, 5500, 4000.0)
    found = curve_peaks(before, gain(before, after))[0]
    assert (found.at.speed_rpm, found.at_end, found.shared) == (6000, True, True)


def test_one_pull_has_a_peak_without_an_uncertainty() -> None:
    before, after = session(2000, 6000, 5500, 150.0), session(2000, 6000, 5500, 160.0)
    single = Pulls(after.speed_rpm, after.torque_nm[:1], after.power_kw[:1])
    assert curve_peaks(single, gain(before, single))[0].half is None
