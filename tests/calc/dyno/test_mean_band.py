"""The band of a mean covers the true curve, whole, in 95 of 100 sessions."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import History
from app.calc.dyno.mean_band import mean_band

Values = NDArray[np.float64]
SPEED = np.arange(2000.0, 6001.0, 25.0)
TRUE = 60 + 90 * np.sin((SPEED - 2000) / 4000 * np.pi / 1.6)
SIGMA = 0.006


def drawn(rng: np.random.Generator, count: int, kind: str) -> Pulls:
    noise: Values
    if kind == "level":
        noise = np.repeat(rng.normal(size=(count, 1)), SPEED.size, axis=1)
    else:
        white = rng.normal(size=(count, SPEED.size + 200))
        noise = white[:, 100:-100] if kind == "white" else gaussian_filter1d(white, 12, axis=1)[:, 100:-100]
        noise = noise / noise.std()
    power = TRUE * (1 + SIGMA * noise)
    return Pulls(SPEED, power * 30000 / (np.pi * SPEED), power)


@pytest.mark.parametrize("kind", ["smooth", "level"])
@pytest.mark.parametrize("count", [3, 5])
@pytest.mark.parametrize("past", [0, 10])
def test_the_whole_true_curve_lies_inside_about_95_times_in_100(kind: str, count: int, past: int) -> None:
    rng = np.random.default_rng(7)
    history = None
    if past:
        level = SIGMA**2 if kind == "level" else 0.0
        history = History(level, SIGMA**2 - level, 2 * past, past, between_dof=400.0)
    inside = 0
    for _ in range(400):
        pulls = drawn(rng, count, kind)
        half = mean_band(pulls, history=history).half_kw
        assert half is not None
        inside += bool((np.abs(pulls.power_kw.mean(axis=0) - TRUE) <= half).all())
    # 400 sessions: the standard error of the share is 1.1 %. Level noise leaves nothing to multiply over the curve,
    # so the band may only be wider than it must.
    assert inside / 400 >= 0.92
    assert kind == "level" or inside / 400 <= 0.995


def test_one_pull_has_no_band_with_or_without_history() -> None:
    pulls = drawn(np.random.default_rng(1), 1, "smooth")
    assert mean_band(pulls).half_kw is None
    assert mean_band(pulls, history=History(1e-5, 1e-5, 40, 20)).half_kw is None


def test_history_narrows_the_band_unless_these_pulls_are_noisier() -> None:
    pulls = drawn(np.random.default_rng(2), 3, "smooth")
    alone = mean_band(pulls).half_kw
    pooled = mean_band(pulls, history=History(0.0, SIGMA**2, 40, 20, between_dof=400.0))
    assert alone is not None and pooled.half_kw is not None
    assert pooled.used_history and pooled.half_kw.mean() < 0.7 * alone.mean()
    calm = mean_band(pulls, history=History(0.0, SIGMA**2 / 100, 40, 20, between_dof=400.0))
    assert not calm.used_history
    assert calm.half_kw is not None and np.array_equal(calm.half_kw, alone)


def test_power_and_torque_keep_one_relative_width() -> None:
    pulls = drawn(np.random.default_rng(3), 4, "smooth")
    band = mean_band(pulls)
    assert band.half_kw is not None and band.half_nm is not None
    # P = T·ω at every speed.
    assert np.allclose(band.half_kw, band.half_nm * SPEED * np.pi / 30000, rtol=1e-3)
