"""The shop can rely on it that the power of a roller-speed log carries how well its inputs are known."""

from dataclasses import replace

import numpy as np
import pytest

from app.calc.dyno.rollers import Rollers, power_on
from app.errors import BadInput

EXACT = Rollers(90.0, 0.3048, 120.0, 2.0, 0.35)
T = np.arange(0, 6, 0.02)
# A constant power P spins a roller of inertia I up as ω² = ω₀² + 2Pt/I (Newton's second law).
OMEGA = np.sqrt(80.0**2 + 2 * 200_000.0 * T / 90.0)


def test_without_drag_the_power_is_that_which_spun_the_rollers_up() -> None:
    found = power_on(Rollers(90.0, 0.3048), T, OMEGA, road_speed_measured=False)
    assert np.abs(found.power_kw[25:-25] - 200.0).max() < 0.5


@pytest.mark.parametrize("road_speed_measured", [True, False])
@pytest.mark.parametrize(
    ("name", "u"),
    [("inertia_kgm2", 0.9), ("radius_m", 0.001), ("a_n", 5.0), ("b_n_per_ms", 0.3), ("c_n_per_ms2", 0.02)],
)
def test_each_uncertainty_moves_the_power_as_a_change_of_its_figure_does(
    name: str, u: float, road_speed_measured: bool
) -> None:
    """To first order the uncertainty by one input is the change that a step of that input makes; a road speed that
    was measured stays as it is when the radius changes, so the roller turns at another rate."""
    of = {"inertia_kgm2": "inertia_u", "radius_m": "radius_u", "a_n": "a_u", "b_n_per_ms": "b_u", "c_n_per_ms2": "c_u"}
    step = 0.01 * u

    def power(rollers: Rollers) -> np.ndarray:
        omega = OMEGA * EXACT.radius_m / rollers.radius_m if road_speed_measured else OMEGA
        return power_on(rollers, T, omega, road_speed_measured=road_speed_measured).power_kw

    value = getattr(EXACT, name)
    changed = (power(replace(EXACT, **{name: value + step})) - power(replace(EXACT, **{name: value - step}))) / 2
    alone = power_on(EXACT, T, OMEGA, road_speed_measured=road_speed_measured).power_u_kw
    told = power_on(replace(EXACT, **{of[name]: u}), T, OMEGA, road_speed_measured=road_speed_measured).power_u_kw
    assert np.allclose(np.sqrt(told**2 - alone**2), np.abs(changed) / 0.01, rtol=1e-3)


def test_what_was_assumed_is_told_with_its_intervals() -> None:
    assert replace(EXACT, inertia_u=1.0).text == (
        "inertia 90.00 ± 1.96 kg·m², roller radius 0.3048 m, drag A 120.0 N, B 2.00 N/(m/s), C 0.3500 N/(m/s)²"
    )
    assert "A 120.0 ± under 0.1 N" in replace(EXACT, a_u=0.001).text
    assert Rollers(90.0, 0.3048).text.endswith("no drag of the dyno")
    assert Rollers.from_json(EXACT.to_json()) == EXACT


@pytest.mark.parametrize(("name", "value"), [("inertia_kgm2", 0.0), ("radius_m", -1.0), ("a_u", -0.1)])
def test_impossible_rollers_are_refused(name: str, value: float) -> None:
    with pytest.raises(BadInput):
        replace(EXACT, **{name: value})
