"""The shop can rely on it that the water in the air is what other formulas and libraries say it is."""

import json
from pathlib import Path
from typing import Any

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.dyno.atmosphere import (
    Conditions,
    moist_air_density_kg_m3,
    relative_humidity_percent,
    saturation_vapour_pressure_hpa,
    vapour_pressure_range_hpa,
)
from app.errors import BadInput

DATA = json.loads((Path(__file__).parent / "data" / "atmosphere.json").read_text("utf-8"))
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("row", DATA["saturation_vapour_pressure"]["table"])
def test_saturation_agrees_with_iapws(row: dict[str, float]) -> None:
    """IAPWS-95 by CoolProp 8.0.0 and Hyland-Wexler by psychrolib 2.5.0, 0.05 %."""
    found = saturation_vapour_pressure_hpa(row["t_C"])
    assert found == pytest.approx(row["IAPWS_SR1_86_hPa"], rel=2e-5)
    assert found == pytest.approx(row["IAPWS95_hPa"], rel=1e-4)
    assert found == pytest.approx(row["HylandWexler_hPa"], rel=5e-4)


def test_the_short_magnus_formula_would_not_pass() -> None:
    row = next(r for r in DATA["saturation_vapour_pressure"]["table"] if r["t_C"] == 30)
    assert abs(row["Magnus_WMO_hPa"] / saturation_vapour_pressure_hpa(30.0) - 1.0) > 0.002


def test_below_freezing_it_stays_with_subcooled_water() -> None:
    """Goff-Gratch over subcooled water at -10 °C: 2.863 hPa (Smithsonian tables, from memory), 0.3 %."""
    assert saturation_vapour_pressure_hpa(-10.0) == pytest.approx(2.863, rel=3e-3)


def _air(inputs: dict[str, float], **more: Any) -> Conditions:
    return Conditions(
        pressure_hpa=inputs["pressure_Pa"] / 100.0,
        temperature_c=inputs["t_C"],
        relative_humidity_percent=inputs.get("RH_percent"),
        wet_bulb_c=inputs.get("wet_bulb_C"),
    )


@pytest.mark.parametrize("row", DATA["humidity"])
def test_moist_air_agrees_with_two_libraries(row: dict[str, Any]) -> None:
    """psychrolib 2.5.0 and CoolProp 8.0.0, tolerances as kept beside the values."""
    air = _air(row["inputs"])
    vapour, same = vapour_pressure_range_hpa(air)
    assert vapour == same
    assert vapour * 100.0 == pytest.approx(row["vapour_pressure_Pa"], rel=1e-3)
    assert air.pressure_hpa - vapour == pytest.approx(row["dry_pressure_hPa"], abs=0.1)
    density = moist_air_density_kg_m3(air)
    for library in ("psychrolib", "CoolProp"):
        assert density == pytest.approx(row["moist_air_density_kg_m3"][library], rel=1.5e-3)


@pytest.mark.parametrize("row", DATA["wet_bulb"])
def test_wet_bulb_agrees_with_two_libraries(row: dict[str, Any]) -> None:
    """ASHRAE equation in psychrolib 2.5.0; the WMO psychrometer formula within 50 Pa."""
    air = _air(row["inputs"])
    vapour, _ = vapour_pressure_range_hpa(air)
    assert vapour * 100.0 == pytest.approx(row["vapour_pressure_Pa"]["psychrolib"], rel=1e-3)
    assert vapour * 100.0 == pytest.approx(row["vapour_pressure_Pa"]["WMO_psychrometer_formula"], abs=50.0)
    assert relative_humidity_percent(air) == pytest.approx(row["RH_percent"], abs=0.5)


@settings(max_examples=200)
@given(st.floats(1.0, 45.0), st.floats(5.0, 100.0), st.floats(800.0, 1050.0))
def test_any_shop_air_agrees_with_psychrolib(temperature: float, humidity: float, pressure: float) -> None:
    air = Conditions(pressure, temperature, humidity)
    expected = psychrolib.GetVapPresFromRelHum(temperature, humidity / 100.0) / 100.0
    assert vapour_pressure_range_hpa(air)[0] == pytest.approx(expected, rel=5e-4)
    wet_bulb = psychrolib.GetTWetBulbFromRelHum(temperature, humidity / 100.0, pressure * 100.0)
    if wet_bulb > 0.5:
        from_bulb = Conditions(pressure, temperature, wet_bulb_c=min(wet_bulb, temperature))
        assert relative_humidity_percent(from_bulb) == pytest.approx(humidity, abs=0.1)


def test_unknown_humidity_is_a_range_and_not_a_guess() -> None:
    air = Conditions(pressure_hpa=990.0, temperature_c=35.0)
    assert vapour_pressure_range_hpa(air) == (0.0, saturation_vapour_pressure_hpa(35.0))
    assert relative_humidity_percent(air) is None
    assert moist_air_density_kg_m3(air) is None


@pytest.mark.parametrize(
    ("numbers", "field"),
    [
        ((29.92, 25.0, None, None), "pressure_hpa"),
        ((101325.0, 25.0, None, None), "pressure_hpa"),
        ((1000.0, 77.0, None, None), "temperature_c"),
        ((1000.0, 25.0, 105.0, None), "relative_humidity_percent"),
        ((1000.0, 25.0, None, 26.0), "wet_bulb_c"),
        ((float("nan"), 25.0, None, None), "pressure_hpa"),
    ],
)
def test_air_that_no_shop_breathes_is_refused(numbers: tuple[float, float, float, float], field: str) -> None:
    with pytest.raises(BadInput) as caught:
        Conditions(*numbers)
    assert caught.value.field == field


def test_an_impossible_wet_bulb_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        vapour_pressure_range_hpa(Conditions(1000.0, 45.0, wet_bulb_c=5.0))
    assert caught.value.field == "wet_bulb_c"
