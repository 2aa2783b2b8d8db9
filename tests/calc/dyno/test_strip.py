"""The shop can rely on it that a computed run is what mechanics gives for the curve, and the change carries its doubt.

Check values: closed forms of classical mechanics (data/drag.json, each verified there with an ODE solver); a whole run
with gear changes is held against scipy's DOP853. Beams, trap and rollout are common practice, no source.
"""

import json
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from app.calc.dyno.strip import FOOT_M, StripCar, StripResult, simulate_strip, strip_change
from app.calc.dyno.strip_motion import Resistance, Rolling
from app.errors import BadInput

DRAG: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "drag.json").read_text("utf-8"))
CASES = {c["id"]: c for c in DRAG["cases"]}
FAST_MS, RADIUS_M = 200.0, 0.3
WHOLE_RANGE = np.array([0.0, FAST_MS / RADIUS_M * 30 / pi])


def plain(**changes: Any) -> StripCar:
    """A car of one gear that reaches any speed, without losses unless given."""
    given_: dict[str, Any] = {
        "mass_kg": 1500.0,
        "cda_m2": 0.0,
        "crr": 0.0,
        "gear_ratios": (1.0,),
        "final_drive": 1.0,
        "tyre_radius_m": RADIUS_M,
        "friction": None,
        "driven_weight_share": 1.0,
        "rollout_m": 0.0,
    }
    return StripCar(**{**given_, **changes})


def constant_force(force_n: float) -> NDArray[np.float64]:
    return np.array([0.0, force_n * FAST_MS / 1000])


def constant_power(power_w: float) -> NDArray[np.float64]:
    return np.array([power_w, power_w]) / 1000


@pytest.mark.parametrize("name", [n for n in CASES if not n.startswith("coastdown")])
def test_closed_forms(name: str) -> None:
    given_, value = CASES[name]["inputs"], CASES[name]["value"]
    car = plain(cda_m2=given_.get("CdA_m2", 0.0), crr=given_.get("Crr", 0.0), friction=given_.get("mu"))
    power = constant_force(given_["force_N"]) if "force_N" in given_ else constant_power(given_["power_W"])
    found = simulate_strip(car, WHOLE_RANGE, power, air_density_kgm3=given_.get("air_density", 0.0))
    # The file prints ten figures.
    assert found.et_1320ft_s == pytest.approx(value["time_s"], rel=1e-9)
    assert found.finish_speed_kmh / 3.6 == pytest.approx(value["speed_ms"], rel=1e-9)
    ets = (found.et_60ft_s, found.et_330ft_s, found.et_660ft_s, found.et_1000ft_s)
    for et, (_, time_s, _) in zip(ets, value.get("marks", ()), strict=False):
        assert et == pytest.approx(time_s, rel=1e-9)


def test_constant_power_obeys_its_product() -> None:
    found = simulate_strip(plain(), WHOLE_RANGE, constant_power(300_000.0), air_density_kgm3=0.0)
    assert found.et_1320ft_s * found.finish_speed_kmh / 3.6 / 402.336 == pytest.approx(1.5, rel=1e-12)


def test_trap_speed_is_the_mean_over_the_last_66_ft() -> None:
    check = DRAG["timing_marks"]["check"]
    found = simulate_strip(plain(friction=0.9), WHOLE_RANGE, constant_power(300_000.0), air_density_kgm3=0.0)
    assert found.trap_1320ft_kmh / 3.6 == pytest.approx(check["mean_speed_ms"], rel=1e-7)
    assert found.trap_1320ft_kmh / found.finish_speed_kmh == pytest.approx(check["ratio"], rel=1e-7)


@pytest.mark.parametrize("row", DRAG["one_foot_rollout"]["values"], ids=lambda r: str(r["acceleration_g"]))
def test_rollout(row: dict[str, float]) -> None:
    force = 1500.0 * row["acceleration_g"] * 9.80665
    car = plain(rollout_m=FOOT_M)
    found = simulate_strip(car, WHOLE_RANGE, constant_force(force), air_density_kgm3=0.0)
    assert found.rollout_s == pytest.approx(row["time_s"], rel=1e-5)
    without = simulate_strip(plain(), WHOLE_RANGE, constant_force(force), air_density_kgm3=0.0)
    # Standstill to 1 ft + 60 ft, less standstill to 1 ft.
    assert found.et_60ft_s == pytest.approx(without.et_60ft_s * (61 / 60) ** 0.5 - found.rollout_s, rel=1e-9)


SPEED = np.arange(1500.0, 6801.0, 25.0)
POWER = 250 * np.exp(-(((SPEED - 5800) / 2600) ** 2))
ROAD = StripCar(
    mass_kg=1550.0,
    cda_m2=0.65,
    crr=0.012,
    gear_ratios=(3.3, 2.0, 1.4, 1.05, 0.82),
    final_drive=3.7,
    tyre_radius_m=0.32,
    shift_time_s=0.35,
    friction=1.0,
    driven_weight_share=0.6,
    rotating_mass_kg=45.0,
    engine_inertia_kgm2=0.12,
)


def integrated(car: StripCar, density: float) -> list[tuple[float, float, float]]:
    """(time, distance, speed) at every gear change and at the finish, by an ODE solver with events."""
    weight = car.mass_kg * 9.80665
    grip = np.inf if car.friction is None else car.friction * weight * car.driven_weight_share
    t, x, v, out = 0.0, 0.0, 1e-12, []
    finish = car.rollout_m + 402.336
    for ratio in car.gear_ratios:
        rpm = ratio * car.final_drive / car.tyre_radius_m * 30 / pi
        mass = car.mass_kg + car.rotating_mass_kg + car.engine_inertia_kgm2 * (rpm * pi / 30) ** 2

        def pulling(_: float, y: Any, rpm: float = rpm, mass: float = mass) -> list[float]:
            turned = max(y[1], SPEED[0] / rpm)
            force = min(np.interp(turned * rpm, SPEED, POWER) * 1000 / turned, grip)
            return [y[1], (force - car.crr * weight - density / 2 * car.cda_m2 * y[1] ** 2) / mass]

        def rolling(_: float, y: Any) -> list[float]:
            force = -car.crr * weight - density / 2 * car.cda_m2 * y[1] ** 2
            return [y[1], force / (car.mass_kg + car.rotating_mass_kg)]

        def shift(_: float, y: Any, rpm: float = rpm) -> float:
            return float(y[1] * rpm - SPEED[-1])

        def finished(_: float, y: Any) -> float:
            return float(y[0] - finish)

        shift.terminal = finished.terminal = True
        run = solve_ivp(pulling, (t, t + 60), [x, v], "DOP853", events=[shift, finished], rtol=1e-10, max_step=0.02)
        t, (x, v) = float(run.t[-1]), run.y[:, -1]
        out.append((t, float(x), float(v)))
        if x >= finish - 1e-6:
            return out
        run = solve_ivp(rolling, (t, t + car.shift_time_s), [x, v], "DOP853", rtol=1e-10)
        t, (x, v) = float(run.t[-1]), run.y[:, -1]
    return out


def test_a_whole_run_with_gear_changes_agrees_with_an_ode_solver() -> None:
    found = simulate_strip(ROAD, SPEED, POWER, air_density_kgm3=1.18)
    expected = integrated(ROAD, 1.18)
    trace = found.trace
    changes = np.flatnonzero((trace.gear[:-1] > 0) & (trace.gear[1:] == 0))
    assert changes.size == len(expected) - 1 >= 2
    for at, (t, x, v) in zip(changes, expected, strict=False):
        # The solver walks over the curve's kinks, which costs it digits.
        assert trace.time_s[at] == pytest.approx(t, rel=1e-6)
        assert trace.distance_m[at] == pytest.approx(x, rel=1e-6)
        assert trace.speed_ms[at] == pytest.approx(v, rel=1e-9)
    assert trace.time_s[-1] == pytest.approx(expected[-1][0], rel=1e-6)
    assert found.finish_speed_kmh / 3.6 == pytest.approx(expected[-1][2], rel=1e-6)
    assert found.et_1320ft_s == pytest.approx(trace.time_s[-1] - found.rollout_s, abs=1e-9)


def test_energy_at_the_finish_is_the_work_of_the_net_force() -> None:
    # Without engine inertia and shift time: ∫ N dx = (m + m_rot) v²/2 (energy check of data/drag.json).
    car = StripCar(**{**_values(ROAD), "engine_inertia_kgm2": 0.0, "shift_time_s": 0.0})
    found = simulate_strip(car, SPEED, POWER, air_density_kgm3=1.18)
    x = np.linspace(0, found.trace.distance_m[-1], 40_001)
    v = np.sqrt(np.interp(x, found.trace.distance_m, found.trace.speed_ms**2))
    gear_of = found.trace.gear[np.clip(np.searchsorted(found.trace.distance_m, x), 0, found.trace.gear.size - 1)]
    ratio = np.array([0.0, *car.gear_ratios])[gear_of] * car.final_drive / car.tyre_radius_m * 30 / pi
    turned = np.maximum(v, SPEED[0] / ratio)
    force = np.minimum(np.interp(turned * ratio, SPEED, POWER) * 1000 / turned, 1.0 * 1550 * 9.80665 * 0.6)
    net = force - 0.012 * 1550 * 9.80665 - 1.18 / 2 * 0.65 * v**2
    work = float(((net[1:] + net[:-1]) / 2 * np.diff(x)).sum())
    assert work == pytest.approx(1595.0 * (found.finish_speed_kmh / 3.6) ** 2 / 2, rel=2e-4)


def _values(car: StripCar) -> dict[str, Any]:
    return {name: getattr(car, name) for name in StripCar.__dataclass_fields__}


def changed(**changes: Any) -> StripResult:
    return simulate_strip(StripCar(**{**_values(ROAD), **changes}), SPEED, POWER, air_density_kgm3=1.18)


def test_the_times_of_a_run_are_in_order() -> None:
    found = changed()
    times = [found.et_60ft_s, found.et_330ft_s, found.et_660ft_s, found.et_1000ft_s, found.et_1320ft_s]
    assert times == sorted(times)
    assert (np.diff(found.trace.time_s) >= 0).all()
    assert (np.diff(found.trace.distance_m) >= 0).all()
    assert found.t_0_60mph_s is not None
    assert found.t_0_100kmh_s is not None
    assert found.t_0_60mph_s < found.t_0_100kmh_s
    assert found.trace.distance_m[-1] == pytest.approx(402.336 + FOOT_M, rel=1e-12)


def test_a_slow_car_reaches_neither_60_mph_nor_100_kmh() -> None:
    car = plain(mass_kg=100.0, cda_m2=2.0, crr=0.02)
    found = simulate_strip(car, WHOLE_RANGE, constant_power(7_000.0), air_density_kgm3=1.2)
    assert (found.t_0_60mph_s, found.t_0_100kmh_s) == (None, None)
    assert "t_0_60mph_s" not in found.figures()
    # It ends at the speed where drag and rolling take all power: A v + C v³ = P.
    v = found.finish_speed_kmh / 3.6
    assert v * (0.02 * 100 * 9.80665 + 1.2 * v * v) == pytest.approx(7_000.0, rel=1e-5)


def test_at_the_limiter_in_the_last_gear_the_speed_holds() -> None:
    found = changed(gear_ratios=(3.3, 2.4))
    limit = SPEED[-1] / (2.4 * 3.7 / 0.32 * 30 / pi)
    assert found.finish_speed_kmh / 3.6 == pytest.approx(limit, rel=1e-12)
    assert found.trap_1320ft_kmh == pytest.approx(found.finish_speed_kmh, rel=1e-9)


def test_a_gear_that_cannot_pull_is_not_taken() -> None:
    weak = np.where(SPEED < 3000, 0.1 * POWER, POWER)
    car = StripCar(**{**_values(ROAD), "gear_ratios": (3.3, 0.5)})
    assert set(simulate_strip(car, SPEED, weak, air_density_kgm3=1.18).trace.gear.tolist()) == {1}


def test_a_car_that_cannot_move_is_refused() -> None:
    with pytest.raises(BadInput, match="does not accelerate"):
        simulate_strip(plain(crr=0.5), WHOLE_RANGE, constant_force(100.0), air_density_kgm3=0.0)


def test_a_finish_during_a_gear_change_is_timed() -> None:
    for shift_time in np.linspace(0.2, 8.0, 25):
        found = changed(shift_time_s=float(shift_time), gear_ratios=(1.4, 1.0))
        assert found.trace.distance_m[-1] == pytest.approx(402.336 + FOOT_M, rel=1e-9)
        assert found.et_1000ft_s < found.et_1320ft_s


@pytest.mark.parametrize("resistance", [Resistance(180.0, 0.4), Resistance(0.0, 0.4), Resistance(180.0, 0.0)])
def test_rolling_agrees_with_an_ode_solver(resistance: Resistance) -> None:
    phase = Rolling(1500.0, resistance, 50.0, 0.0, 0.0, 3.0)
    run = solve_ivp(
        lambda _, y: [y[1], -(resistance.a_n + resistance.c_n_per_ms2 * y[1] ** 2) / 1500.0],
        (0, 3),
        [0.0, 50.0],
        "DOP853",
        rtol=1e-12,
        atol=1e-12,
    )
    assert (phase.x1, phase.v1) == pytest.approx(tuple(run.y[:, -1]), rel=1e-10)
    t, v = phase.at_distance(np.array([phase.x1]))
    assert (t[0], v[0]) == pytest.approx((3.0, phase.v1), rel=1e-10)


def test_rolling_without_resistance_keeps_its_speed() -> None:
    phase = Rolling(1500.0, Resistance(0.0, 0.0), 50.0, 1.0, 10.0, 2.0)
    assert (phase.v1, phase.x1, phase.t1) == (50.0, 110.0, 3.0)
    assert phase.at_distance(np.array([60.0]))[0][0] == pytest.approx(2.0)


def test_rolling_to_a_halt_is_refused() -> None:
    with pytest.raises(BadInput, match="stop during a gear change"):
        changed(shift_time_s=400.0)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(800, 2500),
    st.floats(40, 900),
    st.floats(0.0, 1.2),
    st.floats(0.0, 0.02),
    st.none() | st.floats(0.4, 2.0),
    st.floats(0.0, 0.8),
)
def test_more_power_is_never_slower_nor_is_less_mass_while_grip_allows(
    mass: float, peak: float, cda: float, crr: float, friction: float | None, shift: float
) -> None:
    car = {**_values(ROAD), "mass_kg": mass, "cda_m2": cda, "crr": crr, "friction": friction, "shift_time_s": shift}
    power = POWER / POWER.max() * peak
    base = simulate_strip(StripCar(**car), SPEED, power, air_density_kgm3=1.2)
    more = simulate_strip(StripCar(**car), SPEED, power * 1.05, air_density_kgm3=1.2)
    lighter = simulate_strip(StripCar(**{**car, "mass_kg": mass * 0.95}), SPEED, power, air_density_kgm3=1.2)
    # An extra gear change just before a beam can cost more than the power gained by then, by less than itself.
    assert more.et_1320ft_s <= base.et_1320ft_s + shift + 1e-9
    if friction is None:
        # At the grip limit a lighter car gains no force per mass and feels the air more.
        assert lighter.et_1320ft_s <= base.et_1320ft_s + shift + 1e-9
    if shift == 0.0:
        assert more.et_1320ft_s <= base.et_1320ft_s + 1e-9
    assert all(np.isfinite(value) and value > 0 for value in base.figures().values())


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("mass_kg", 0.0),
        ("mass_kg", float("nan")),
        ("cda_m2", -0.1),
        ("gear_ratios", ()),
        ("gear_ratios", (3.3, 0.0)),
        ("gear_ratios", (2.0, 3.3)),
        ("driven_weight_share", 1.1),
        ("friction", 0.0),
        ("shift_time_s", -0.1),
    ],
)
def test_an_impossible_car_is_refused_by_field(field: str, value: Any) -> None:
    with pytest.raises(BadInput) as refused:
        changed(**{field: value})
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("speed", "power"),
    [
        ([1000.0], [10.0]),
        ([1000.0, 900.0], [10.0, 20.0]),
        ([1000.0, 2000.0], [10.0]),
        ([1000.0, 2000.0], [10.0, float("nan")]),
        ([1000.0, 2000.0], [10.0, -1.0]),
        ([1000.0, 2000.0], [0.0, 0.0]),
        ([-10.0, 2000.0], [1.0, 2.0]),
    ],
)
def test_an_unusable_curve_is_refused(speed: list[float], power: list[float]) -> None:
    with pytest.raises(BadInput):
        simulate_strip(ROAD, np.array(speed), np.array(power), air_density_kgm3=1.2)


def test_change_between_revisions_without_samples_has_no_interval() -> None:
    found = strip_change(ROAD, SPEED, POWER, 0.06 * POWER, air_density_kgm3=1.18)["et_1320ft_s"]
    assert found.change < -0.05
    assert (found.low, found.high, found.resolved) == (None, None, False)


def test_the_interval_of_the_change_carries_the_gains_uncertainty() -> None:
    # A gain that is uncertain by a common level only: the change is monotonic in the level, so the interval's ends are
    # the changes at the level's own quantiles.
    draws = np.random.default_rng(5).normal(0.0, 2.0, 400)
    samples = 10.0 + np.repeat(draws[:, None], SPEED.size, axis=1)
    found = strip_change(ROAD, SPEED, POWER, np.full(SPEED.size, 10.0), air_density_kgm3=1.18, gain_samples_kw=samples)[
        "et_1320ft_s"
    ]
    ends = []
    for level in np.quantile(draws, [0.025, 0.975]):
        gain = np.full(SPEED.size, 10.0 + level)
        ends.append(strip_change(ROAD, SPEED, POWER, gain, air_density_kgm3=1.18)["et_1320ft_s"].change)
    assert found.low == pytest.approx(ends[1], abs=0.003)
    assert found.high == pytest.approx(ends[0], abs=0.003)
    assert found.resolved
    assert found.low is not None
    assert found.low < found.change


def test_an_unresolved_gain_gives_an_unresolved_change() -> None:
    samples = np.random.default_rng(6).normal(0.0, 5.0, (60, 1)) + np.full(SPEED.size, 0.5)
    found = strip_change(ROAD, SPEED, POWER, np.full(SPEED.size, 0.5), air_density_kgm3=1.18, gain_samples_kw=samples)
    assert not found["et_1320ft_s"].resolved
    assert not found["trap_1320ft_kmh"].resolved


@pytest.mark.parametrize("shape", [(5, SPEED.size), (40, 3), (SPEED.size,)])
def test_unusable_samples_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(BadInput, match="sampled gain curves"):
        strip_change(ROAD, SPEED, POWER, POWER * 0.0, air_density_kgm3=1.18, gain_samples_kw=np.zeros(shape))
