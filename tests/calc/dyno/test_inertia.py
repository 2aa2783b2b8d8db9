"""The shop can rely on it that a roller's speed turns into the power that was put into it.

Check values: mechanics, data/chassis_dyno.json, each computed there a second way.
"""

import json
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.inertia import (
    engine_speed_rpm,
    equivalent_mass_kg,
    inertia_power_w,
    local_slope,
    road_speed_ms,
    roller_power,
)
from app.calc.dyno.road_load import RoadLoad
from app.errors import BadInput

CASES: dict[str, dict[str, Any]] = {
    c["id"]: c for c in json.loads((Path(__file__).parent / "data" / "chassis_dyno.json").read_text("utf-8"))["cases"]
}


def case(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    return CASES[name]["inputs"], CASES[name]["value"]


def test_equivalent_mass() -> None:
    given_, value = case("equivalent mass of a roll")
    assert equivalent_mass_kg(given_["roll_inertia_kgm2"], given_["roll_radius_m"]) == pytest.approx(
        value["m_eq_kg"], rel=1e-9
    )


def test_inertia_power() -> None:
    given_, value = case("inertia power")
    power = inertia_power_w(given_["roll_inertia_kgm2"], given_["omega_rad_s"], given_["alpha_rad_s2"])
    assert power == pytest.approx(value["power_W"], rel=1e-9)


def test_engine_to_wheel() -> None:
    given_, value = case("engine to wheel")
    ratio = given_["gear"] * given_["final_drive"]
    speed = road_speed_ms(given_["engine_rpm"], ratio, given_["rolling_radius_m"])
    assert speed * 3.6 == pytest.approx(value["speed_kmh"], rel=1e-9)
    assert given_["engine_torque_Nm"] * ratio / given_["rolling_radius_m"] * speed / 1000 == pytest.approx(
        value["power_kW"], rel=1e-9
    )


def test_engine_speed_per_road_speed_and_slip() -> None:
    given_, value = case("rpm per km/h")
    ratio = given_["gear"] * given_["final_drive"]
    assert engine_speed_rpm(1 / 3.6, ratio, given_["rolling_radius_m"]) == pytest.approx(value["rpm_per_kmh"], rel=1e-9)
    given_, value = case("slip")
    speed = given_["roll_speed_kmh"] / 3.6
    radius, ratio, slip = given_["rolling_radius_m"], given_["total_ratio"], given_["slip"]
    assert engine_speed_rpm(speed, ratio, radius, slip=slip) == pytest.approx(value["engine_rpm"], rel=1e-9)
    assert engine_speed_rpm(speed, ratio, radius) == pytest.approx(value["engine_rpm_without_slip"], rel=1e-9)
    assert road_speed_ms(value["engine_rpm"], ratio, radius, slip=slip) == pytest.approx(speed, rel=1e-9)


def test_engine_and_wheel_inertia_at_the_road() -> None:
    given_, value = case("engine and wheel inertia referred to the road")
    ratio = given_["gear"] * given_["final_drive"]
    assert equivalent_mass_kg(given_["engine_inertia_kgm2"] * ratio**2, given_["rolling_radius_m"]) == pytest.approx(
        value["m_engine_kg"], rel=1e-9
    )
    assert equivalent_mass_kg(given_["wheels_inertia_kgm2"], given_["rolling_radius_m"]) == pytest.approx(
        value["m_wheels_kg"], rel=1e-9
    )


def spin_up(rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    given_, value = case("constant-power spin-up trace")
    t = np.arange(0.0, 5.0 + 0.5 / rate_hz, 1 / rate_hz)
    omega = np.sqrt(given_["omega0_rad_s"] ** 2 + 2 * given_["power_W"] * t / given_["roll_inertia_kgm2"])
    for second, expected in enumerate(value["omega_rad_s"]):
        assert omega[int(second * rate_hz)] == pytest.approx(expected, rel=1e-9)
    return t, omega


@pytest.mark.parametrize("rate_hz", [20, 100, 500])
def test_a_constant_power_spin_up_gives_that_power(rate_hz: int) -> None:
    t, omega = spin_up(rate_hz)
    found = roller_power(t, omega, inertia_kgm2=90.0, radius_m=0.3048)
    inner = (t > 0.2) & (t < 4.8)
    # A parabola over ± h is off by ω'''·h²/10; here that is 3(P/I)²/ω⁴·h²/10 of the power, 0.25 % at the start.
    expected = 3 * (200_000 / 90.0) ** 2 / omega**4 * 0.15**2 / 10
    error = np.abs(found.power_kw / 200.0 - 1)
    assert (error[inner] < 1.7 * expected[inner] + 1e-9).all()
    assert error[inner].max() < 3e-3


def test_its_uncertainty_covers_the_noise() -> None:
    t, omega = spin_up(100)
    noise = np.random.default_rng(7)
    inside = []
    for _ in range(60):
        found = roller_power(t, omega + noise.normal(0, 0.05, t.size), inertia_kgm2=90.0, radius_m=0.3048)
        at = slice(150, 480, 30)
        inside.append(np.abs(found.power_kw[at] - 200.0) < 2 * found.power_u_kw[at])
    # 95.4 % of a normal error lies within two standard uncertainties; 660 draws, standard error 0.8 %.
    assert 0.92 < np.mean(inside) < 0.985


def test_uneven_samples_and_the_dynos_own_drag() -> None:
    noise = np.random.default_rng(3)
    t = np.sort(noise.uniform(0, 6, 500))
    t = t[np.append(True, np.diff(t) > 1e-4)]
    load = RoadLoad(100.0, 2.0, 0.1)
    omega = 40.0 + 12.0 * t
    found = roller_power(t, omega, inertia_kgm2=90.0, radius_m=0.3048, road_load=load)
    v = omega * 0.3048
    expected = (90.0 / 0.3048**2 * 12.0 * 0.3048 + load.force_n(v)) * v / 1000
    assert np.allclose(found.power_kw, expected, rtol=1e-9)


@given(
    st.floats(-50, 50),
    st.floats(-20, 20),
    st.floats(-5, 5),
    st.integers(5, 60),
    st.floats(0.05, 2.0),
    st.integers(0, 9),
)
def test_a_parabola_is_differentiated_exactly(a: float, b: float, c: float, n: int, window: float, seed: int) -> None:
    t = np.cumsum(np.random.default_rng(seed).uniform(0.01, 0.05, n))
    found = local_slope(t, a + b * t + c * t * t, window_s=window)
    assert np.allclose(found.slope, b + 2 * c * t, rtol=1e-6, atol=1e-5)
    assert np.allclose(found.value, a + b * t + c * t * t, rtol=1e-7, atol=1e-6)


@pytest.mark.parametrize(
    ("t", "y"),
    [
        ([0, 1, 2, 3], [0, 1, 2, 3]),
        ([0, 1, 2, 2, 3], [0, 1, 2, 3, 4]),
        ([0, 1, 2, 3, 4], [0, 1, float("nan"), 3, 4]),
        ([0, 1, 2, 3, 4], [0, 1, 2, 3]),
    ],
)
def test_unusable_samples_are_refused(t: list[float], y: list[float]) -> None:
    with pytest.raises(BadInput):
        local_slope(np.array(t, float), np.array(y, float), window_s=1.0)


def test_impossible_rollers_are_refused() -> None:
    t, omega = spin_up(20)
    with pytest.raises(BadInput):
        roller_power(t, omega, inertia_kgm2=0.0, radius_m=0.3)


def test_units_of_the_conversion() -> None:
    # 60 turns a minute at radius 1/(2π) m is 1 m/s by definition.
    assert road_speed_ms(60.0, 1.0, 1 / (2 * pi)) == pytest.approx(1.0, rel=1e-12)
    assert sqrt(road_speed_ms(60.0, 4.0, 1 / (2 * pi))) == pytest.approx(0.5, rel=1e-12)
