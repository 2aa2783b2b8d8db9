"""The shop can rely on it that a session gets the factor of its own air, or none, and never a made-up one.

Check values: SAE J1349 (1990 form) 1.0318765 at 35 °C and 980 hPa dry air, DIN 70020 1.0216068 at 25 °C and 1000 hPa
total (data/atmosphere.json, the formulas as printed on five pages and in three code bases).
"""

import pytest

from app.calc.dyno.correction import BOOST_CAUTION
from app.calc.dyno.session_air import UNCORRECTED, session_factor


def test_the_factor_of_the_session_s_air() -> None:
    dry = session_factor("sae_j1349", pressure_hpa=980.0, temperature_c=35.0, relative_humidity_percent=0.0)
    assert dry is not None and dry.factor == pytest.approx(1.0318765, abs=1e-6)
    total = session_factor("din_70020", pressure_hpa=1000.0, temperature_c=25.0, relative_humidity_percent=None)
    assert total is not None and total.factor == pytest.approx(1.0216068, abs=1e-6)


def test_uncorrected_needs_no_air() -> None:
    found = session_factor("none", pressure_hpa=None, temperature_c=None, relative_humidity_percent=None)
    assert found is UNCORRECTED and found.factor == 1.0


@pytest.mark.parametrize("missing", ["pressure_hpa", "temperature_c"])
def test_without_pressure_or_temperature_there_is_no_factor(missing: str) -> None:
    air = {"pressure_hpa": 1000.0, "temperature_c": 20.0, "relative_humidity_percent": 50.0, missing: None}
    assert session_factor("sae_j1349", **air) is None


def test_without_humidity_the_factor_is_a_range() -> None:
    found = session_factor("sae_j1349", pressure_hpa=990.0, temperature_c=35.0, relative_humidity_percent=None)
    assert found is not None and found.low < found.factor < found.high


def test_a_boosted_engine_gets_the_caution_and_a_diesel_its_own_form() -> None:
    air = {"pressure_hpa": 950.0, "temperature_c": 30.0, "relative_humidity_percent": 40.0}
    boosted = session_factor("iso_1585", **air, boosted=True)
    assert boosted is not None and BOOST_CAUTION in boosted.flags
    diesel = session_factor("iso_1585_ci", **air, diesel=True, boosted=True)
    assert diesel is not None and diesel.factor != boosted.factor
    assert not any("recorded as spark ignition" in flag for flag in diesel.flags)
