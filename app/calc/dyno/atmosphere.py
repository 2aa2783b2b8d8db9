"""Water vapour in the air that the engine breathes.

Saturation pressure: IAPWS supplementary release SR1-86 (W. Wagner's equation), within 0.01 % of IAPWS-95 from
0 to 45 °C. Wet bulb: the psychrometric equation of the ASHRAE Handbook of Fundamentals.
"""

from dataclasses import dataclass
from math import exp

from app.errors import BadInput

_CRITICAL_TEMPERATURE_K = 647.096
_CRITICAL_PRESSURE_HPA = 220640.0
_WAGNER = (
    (1.0, -7.85951783),
    (1.5, 1.84408259),
    (3.0, -11.7866497),
    (3.5, 22.6807411),
    (4.0, -15.9618719),
    (7.5, 1.80122502),
)
_VAPOUR_TO_AIR = 0.621945  # ratio of the molar masses of water and dry air, ASHRAE
_GAS_CONSTANT_DRY_AIR = 287.042  # J/(kg·K), ASHRAE
_WET_BULB_FLOOR_C = 0.01


@dataclass(frozen=True, slots=True)
class Conditions:
    """The air at the intake: total pressure (not reduced to sea level), temperature, humidity if recorded.

    Humidity comes from `relative_humidity_percent`, else from `wet_bulb_c`, else it is unknown.
    """

    pressure_hpa: float
    temperature_c: float
    relative_humidity_percent: float | None = None
    wet_bulb_c: float | None = None

    def __post_init__(self) -> None:
        _within("pressure_hpa", self.pressure_hpa, 500.0, 1100.0, "hPa", "air pressure")
        _within("temperature_c", self.temperature_c, -40.0, 60.0, "°C", "air temperature")
        if self.relative_humidity_percent is not None:
            _within(
                "relative_humidity_percent",
                self.relative_humidity_percent,
                0.0,
                100.0,
                "%",
                "relative humidity",
            )
        if self.wet_bulb_c is not None:
            _within(
                "wet_bulb_c",
                self.wet_bulb_c,
                _WET_BULB_FLOOR_C,
                self.temperature_c,
                "°C",
                "wet-bulb temperature",
            )

    @property
    def humidity_known(self) -> bool:
        return self.relative_humidity_percent is not None or self.wet_bulb_c is not None


def _within(field: str, value: float, low: float, high: float, unit: str, name: str) -> None:
    if not low <= value <= high:
        raise BadInput(
            f"The {name} {value:g} {unit} is outside {low:g} to {high:g} {unit}; check number and unit.",
            field=field,
        )


def saturation_vapour_pressure_hpa(temperature_c: float) -> float:
    """Pressure of vapour in equilibrium with water, hPa; SR1-86, continued below 0 °C (subcooled water).

    >>> round(saturation_vapour_pressure_hpa(25.0), 4)
    31.6982
    """
    kelvin = temperature_c + 273.15
    v = 1.0 - kelvin / _CRITICAL_TEMPERATURE_K
    series = sum(coefficient * v**power for power, coefficient in _WAGNER)
    return _CRITICAL_PRESSURE_HPA * exp(_CRITICAL_TEMPERATURE_K / kelvin * series)


def vapour_pressure_range_hpa(conditions: Conditions) -> tuple[float, float]:
    """Lowest and highest vapour pressure that fit the record; equal when humidity was recorded."""
    if conditions.relative_humidity_percent is not None:
        share = conditions.relative_humidity_percent / 100.0
        known = share * saturation_vapour_pressure_hpa(conditions.temperature_c)
        return known, known
    if conditions.wet_bulb_c is not None:
        known = _from_wet_bulb(conditions.temperature_c, conditions.wet_bulb_c, conditions.pressure_hpa)
        return known, known
    return 0.0, saturation_vapour_pressure_hpa(conditions.temperature_c)


def _from_wet_bulb(temperature_c: float, wet_bulb_c: float, pressure_hpa: float) -> float:
    saturated = saturation_vapour_pressure_hpa(wet_bulb_c)
    ratio_saturated = _VAPOUR_TO_AIR * saturated / (pressure_hpa - saturated)
    # ASHRAE Fundamentals, humidity ratio from dry bulb, wet bulb and pressure, above freezing.
    ratio = ((2501.0 - 2.326 * wet_bulb_c) * ratio_saturated - 1.006 * (temperature_c - wet_bulb_c)) / (
        2501.0 + 1.86 * temperature_c - 4.186 * wet_bulb_c
    )
    if ratio < 0.0:
        raise BadInput(
            f"A wet bulb of {wet_bulb_c:g} °C is too low for air at {temperature_c:g} °C; read both again.",
            field="wet_bulb_c",
        )
    return pressure_hpa * ratio / (_VAPOUR_TO_AIR + ratio)


def relative_humidity_percent(conditions: Conditions) -> float | None:
    """Relative humidity as recorded or as the wet bulb gives it; None when neither was recorded."""
    if not conditions.humidity_known:
        return None
    vapour, _ = vapour_pressure_range_hpa(conditions)
    return 100.0 * vapour / saturation_vapour_pressure_hpa(conditions.temperature_c)


def moist_air_density_kg_m3(conditions: Conditions) -> float | None:
    """Density of the intake air as two ideal gases (within 0.15 % of real air); None without humidity."""
    if not conditions.humidity_known:
        return None
    vapour, _ = vapour_pressure_range_hpa(conditions)
    dry = conditions.pressure_hpa - vapour
    return 100.0 * (dry + _VAPOUR_TO_AIR * vapour) / (_GAS_CONSTANT_DRY_AIR * (conditions.temperature_c + 273.15))
