"""The shop can rely on it that a coast-down gives back the drag that slowed the car.

Check values: the closed form of a coast-down (data/drag.json) and the loss case of data/chassis_dyno.json; the form of
the road load is that of 40 CFR 1066.210, the coast from 115 to 15 km/h that of SAE J2263.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.dyno.road_load import RoadLoad, effective_mass_kg, fit_coast_down
from app.errors import BadInput

DATA = Path(__file__).parent / "data"
COAST: dict[str, Any] = next(
    c for c in json.loads((DATA / "drag.json").read_text("utf-8"))["cases"] if c["id"].startswith("coastdown")
)
DYNO: dict[str, Any] = {c["id"]: c for c in json.loads((DATA / "chassis_dyno.json").read_text("utf-8"))["cases"]}
GIVEN = COAST["inputs"]
LOAD = RoadLoad(GIVEN["A_N"], GIVEN["B_N_per_ms"], GIVEN["C_N_per_ms2"])
MASS = GIVEN["effective_mass_kg"]


def test_time_of_the_whole_coast_and_of_each_split() -> None:
    value = COAST["value"]
    whole = LOAD.coast_time_s(MASS, GIVEN["from_kmh"] / 3.6, GIVEN["to_kmh"] / 3.6)
    assert whole == pytest.approx(value["time_s"], rel=1e-8)
    for from_kmh, to_kmh, expected in value["split_times_10kmh"]:
        assert LOAD.coast_time_s(MASS, from_kmh / 3.6, to_kmh / 3.6) == pytest.approx(expected, rel=1e-7)


def test_force_at_mid_speed_and_effective_mass() -> None:
    assert LOAD.force_n(65 / 3.6) == pytest.approx(COAST["value"]["mid_force_N_at_65kmh"], rel=1e-8)
    case = DYNO["effective mass of a coastdown"]
    assert effective_mass_kg(case["inputs"]["test_mass_kg"]) == pytest.approx(case["value"]["effective_mass_kg"])


def test_loss_on_the_roll() -> None:
    case = DYNO["loss by coastdown on the roll"]
    given_, value = case["inputs"], case["value"]
    load = RoadLoad(given_["A_N"], given_["B"], given_["C"])
    v = np.array(given_["speed_ms"])
    assert np.allclose(load.force_n(v), value["loss_force_N"], rtol=1e-9)
    assert np.allclose(load.power_kw(v), value["loss_power_kW"], rtol=1e-9)
    assert np.allclose(np.array(given_["wheel_power_kW"]) + load.power_kw(v), value["engine_power_kW"], rtol=1e-9)
    assert np.allclose(-load.force_n(v) / given_["effective_mass_kg"], value["decel_ms2"], rtol=1e-9)


def test_the_published_split_times_give_back_the_coefficients() -> None:
    splits = COAST["value"]["split_times_10kmh"]
    t = np.concatenate(([0.0], np.cumsum([s[2] for s in splits])))
    v = np.array([splits[0][0], *(s[1] for s in splits)]) / 3.6
    found = fit_coast_down(t, v, mass_kg=MASS)
    # The split times are printed with eight figures.
    assert found.road_load.a_n == pytest.approx(LOAD.a_n, rel=1e-5)
    assert found.road_load.b_n_per_ms == pytest.approx(LOAD.b_n_per_ms, rel=1e-4)
    assert found.road_load.c_n_per_ms2 == pytest.approx(LOAD.c_n_per_ms2, rel=1e-5)
    assert found.rms_ms < 1e-6


def speeds_at(load: RoadLoad, t: np.ndarray) -> np.ndarray:
    """Speeds from 32 m/s on by a fine fourth-order integration, independent of the quadrature under test."""
    v, out, last = 32.0, [], 0.0
    for now in t:
        steps = max(1, int((now - last) / 0.01))
        h = (now - last) / steps
        for _ in range(steps):
            k1 = -load.force_n(v) / MASS
            k2 = -load.force_n(v + h / 2 * k1) / MASS
            k3 = -load.force_n(v + h / 2 * k2) / MASS
            k4 = -load.force_n(v + h * k3) / MASS
            v += h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        out.append(v)
        last = float(now)
    return np.array(out)


def test_noisy_speeds_give_the_load_within_its_standard_errors() -> None:
    t = np.arange(0.0, 100.0, 0.5)
    clean = speeds_at(LOAD, t)
    noise = np.random.default_rng(11)
    hits = []
    for _ in range(40):
        found = fit_coast_down(t, clean + noise.normal(0, 0.05, t.size), mass_kg=MASS)
        assert found.rms_ms == pytest.approx(0.05, rel=0.2)
        true = (LOAD.a_n, LOAD.b_n_per_ms, LOAD.c_n_per_ms2)
        got = (found.road_load.a_n, found.road_load.b_n_per_ms, found.road_load.c_n_per_ms2)
        hits += [abs(g - k) < 2 * u for g, k, u in zip(got, true, found.standard_errors, strict=True)]
    # 95.4 % expected of independent draws; the three coefficients of one fit move together.
    assert np.mean(hits) > 0.88


@settings(max_examples=60, deadline=None)
@given(st.floats(50, 400), st.floats(0, 8), st.floats(0.05, 0.9))
def test_any_ordinary_load_is_found_again(a: float, b: float, c: float) -> None:
    load = RoadLoad(a, b, c)
    v = np.linspace(32.0, 5.0, 25)
    t = np.array([load.coast_time_s(MASS, 32.0, x) for x in v])
    found = fit_coast_down(t, v, mass_kg=MASS).road_load
    assert np.allclose(found.force_n(v), load.force_n(v), rtol=1e-7)


@pytest.mark.parametrize(
    ("t", "v"),
    [
        ([0, 1, 2, 3], [30, 29, 28, 27]),
        ([0, 1, 2, 3, 4], [30, 30, 30, 30, 30]),
        ([0, 1, 2, 3, 4], [20, 22, 24, 26, 28]),
        ([0, 1, 1, 3, 4], [30, 28, 26, 24, 22]),
        ([0, 1, 2, 3, 4], [30, 20, 10, 5, 0]),
    ],
)
def test_what_is_no_coast_down_is_refused(t: list[float], v: list[float]) -> None:
    with pytest.raises(BadInput):
        fit_coast_down(np.array(t, float), np.array(v, float), mass_kg=MASS)


def test_a_load_that_would_not_slow_the_car_is_refused() -> None:
    with pytest.raises(BadInput, match="not positive"):
        RoadLoad(-500.0).coast_time_s(MASS, 30.0, 10.0)
