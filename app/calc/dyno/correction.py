"""Correction of full-load power to a reference atmosphere.

Corrected power = observed power × factor. The formulas keep the texts' own 273 (not 273.15) for the
conversion to kelvin. Outside its validity limits a factor is flagged, never clamped. Where a limit is known
here from practice and memory only and not from the text itself, the flag says "usually quoted".
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from math import sqrt
from typing import Literal

from app.calc.dyno.atmosphere import Conditions, vapour_pressure_range_hpa
from app.errors import BadInput

Charging = Literal["none", "mechanical", "turbocharger"]
IntakeForm = Literal["un_r85", "air", "liquid"]

STANDARDS: dict[str, str] = {
    "none": "Uncorrected",
    "sae_j1349": "SAE J1349 (1990 form)",
    "sae_j1349_2004": "SAE J1349 (2004 form, 85 % mechanical efficiency)",
    "sae_j607": "SAE J607 (STD)",
    "iso_1585": "ISO 1585 / UN R85, spark ignition",
    "iso_1585_ci": "ISO 1585 / UN R85, compression ignition",
    "din_70020": "DIN 70020 (withdrawn)",
    "jis_d1001": "JIS D 1001",
}

BOOST_CAUTION = (
    "A control unit that holds a boost target already compensates for the air; an atmospheric factor on top "
    "credits it twice, so for before and after on one day compare uncorrected pulls."
)


@dataclass(frozen=True, slots=True)
class Engine:
    """What the factor depends on besides the air.

    `fuel_delivery_mg` is mg per litre of swept volume and cycle, for compression ignition only. `turbo_form`
    picks the exponent set for exhaust-turbocharged compression ignition: UN R85's, or the ISO text's for no
    or air charge cooling ("air") and for air-to-liquid charge cooling ("liquid").
    """

    ignition: Literal["spark", "compression"] = "spark"
    charging: Charging = "none"
    fuel_delivery_mg: float | None = None
    boost_pressure_ratio: float = 1.0
    turbo_form: IntakeForm = "un_r85"

    def __post_init__(self) -> None:
        if self.fuel_delivery_mg is not None and not 0.0 < self.fuel_delivery_mg < 1000.0:
            raise BadInput(
                f"The fuel delivery {self.fuel_delivery_mg:g} mg per litre and cycle is outside 0 to 1000.",
                field="fuel_delivery_mg",
            )
        if not 1.0 <= self.boost_pressure_ratio <= 10.0:
            raise BadInput(
                f"The boost pressure ratio {self.boost_pressure_ratio:g} is outside 1 to 10.",
                field="boost_pressure_ratio",
            )


@dataclass(frozen=True, slots=True)
class CorrectionFactor:
    """A factor, the range it can lie in when something was not recorded, and what to know about it.

    `factor` is the middle of `low` and `high`, which are equal when everything needed was recorded. `valid`
    is False when any limit of the standard's text is passed; `flags` are sentences.
    """

    standard: str
    factor: float
    low: float
    high: float
    valid: bool
    flags: tuple[str, ...]

    @property
    def label(self) -> str:
        return STANDARDS[self.standard]


def standard_words(standard: str) -> str:
    """How power was corrected, within a sentence.

    >>> standard_words("none"), standard_words("jis_d1001")
    ('uncorrected', 'corrected by JIS D 1001')
    """
    return "uncorrected" if standard == "none" else f"corrected by {STANDARDS[standard]}"


@dataclass(frozen=True, slots=True)
class _Limits:
    factor: tuple[float, float] | None = None
    temperature_c: tuple[float, float] | None = None
    pressure_hpa: tuple[float, float] | None = None
    known_from: str = "the text's"


_SPARK = _Limits((0.93, 1.07), (15.0, 35.0), (900.0, 1050.0), known_from="the usually quoted")
_LIMITS: dict[str, _Limits] = {
    "none": _Limits(),
    "sae_j1349": _SPARK,
    "sae_j1349_2004": _SPARK,
    "sae_j607": _Limits(),
    "iso_1585": _Limits((0.93, 1.07), (15.0, 35.0), known_from="the usually quoted"),
    "iso_1585_ci": _Limits((0.9, 1.1), (10.0, 40.0), (800.0, 1100.0)),
    "din_70020": _Limits(),
    "jis_d1001": _Limits((0.93, 1.07), (15.0, 35.0), known_from="the usually quoted"),
}


def sae_j1349(dry_hpa: float, temperature_c: float) -> float:
    """SAE J1349 JUN90: 1.180·(990/pd)·√((t+273)/298) − 0.18."""
    return 1.18 * _density_ratio(dry_hpa, temperature_c) - 0.18


def sae_j1349_2004(dry_hpa: float, temperature_c: float) -> float:
    """SAE J1349 2004 and 2011 with an assumed mechanical efficiency of 85 %: (D − 0.15)/0.85."""
    return (_density_ratio(dry_hpa, temperature_c) - 0.15) / 0.85


def _density_ratio(dry_hpa: float, temperature_c: float) -> float:
    return 990.0 / dry_hpa * sqrt((temperature_c + 273.0) / 298.0)


def sae_j607(dry_hpa: float, temperature_c: float) -> float:
    """SAE J607: 29.92 inHg over dry pressure, times √ of absolute temperature over 60 °F."""
    fahrenheit_absolute = temperature_c * 1.8 + 32.0 + 459.67
    return 29.92 * 33.8638864 / dry_hpa * sqrt(fahrenheit_absolute / 519.67)


def iso_1585(dry_hpa: float, temperature_c: float) -> float:
    """ISO 1585, UN R85, 80/1269/EEC, spark ignition: (99/pd)^1.2·(T/298)^0.6, pd in kPa."""
    return float((990.0 / dry_hpa) ** 1.2 * ((temperature_c + 273.0) / 298.0) ** 0.6)


_CI_EXPONENTS: dict[str, tuple[float, float]] = {
    "none": (1.0, 0.7),
    "un_r85": (0.7, 1.5),
    "air": (0.7, 1.2),
    "liquid": (0.7, 0.7),
}


def iso_1585_ci(dry_hpa: float, temperature_c: float, engine: Engine, fm: float) -> float:
    """ISO 1585 and UN R85, compression ignition: fa^fm; see `engine_factor` for fm."""
    form = engine.turbo_form if engine.charging == "turbocharger" else "none"
    on_pressure, on_temperature = _CI_EXPONENTS[form]
    fa = (990.0 / dry_hpa) ** on_pressure * ((temperature_c + 273.0) / 298.0) ** on_temperature
    return float(fa**fm)


def engine_factor(fuel_delivery_mg: float, boost_pressure_ratio: float = 1.0) -> float:
    """fm of UN R85 Annex 5 §5.4.2.2: 0.036·qc − 1.14 for 40 ≤ qc ≤ 65 mg/(l·cycle), 0.3 below, 1.2 above."""
    corrected_delivery = fuel_delivery_mg / boost_pressure_ratio
    if corrected_delivery < 40.0:
        return 0.3
    if corrected_delivery > 65.0:
        return 1.2
    return 0.036 * corrected_delivery - 1.14


def din_70020(total_hpa: float, temperature_c: float) -> float:
    """DIN 70020: (1013/p)·√((t+273)/293) on the total pressure."""
    return 1013.0 / total_hpa * sqrt((temperature_c + 273.0) / 293.0)


_ON_DRY_PRESSURE: dict[str, Callable[[float, float], float]] = {
    "sae_j1349": sae_j1349,
    "sae_j1349_2004": sae_j1349_2004,
    "sae_j607": sae_j607,
    "iso_1585": iso_1585,
    # JIS D 1001:1993 names ISO 1585 as its correspondent; the formula inside is taken to be ISO's.
    "jis_d1001": iso_1585,
}


def correction(standard: str, conditions: Conditions, *, engine: Engine | None = None) -> CorrectionFactor:
    """The factor of `standard` (a key of `STANDARDS`) under `conditions`.

    Raises `BadInput` for an unknown standard.

    >>> air = Conditions(pressure_hpa=1000.0, temperature_c=25.0, relative_humidity_percent=31.5)
    >>> round(correction("sae_j1349", air).factor, 3)
    1.0
    """
    if standard not in STANDARDS:
        raise BadInput(
            f"{standard!r} is not a correction standard; choose one of {', '.join(STANDARDS)}.",
            field="standard",
        )
    engine = engine or Engine()
    diesel = standard == "iso_1585_ci" or (standard == "jis_d1001" and engine.ignition == "compression")
    candidates = _candidates(standard, conditions, engine, diesel)
    low, high = min(candidates), max(candidates)
    flags = _limit_flags("iso_1585_ci" if diesel else standard, conditions, low, high)
    valid = not flags
    flags += _missing_flags(standard, conditions, engine, diesel, low, high) + _fit_flags(standard, engine)
    return CorrectionFactor(standard, (low + high) / 2.0, low, high, valid, tuple(flags))


def _candidates(standard: str, conditions: Conditions, engine: Engine, diesel: bool) -> list[float]:
    """The factor at each end of what is unknown; it is monotonic in vapour pressure and in fm."""
    if standard == "none":
        return [1.0]
    if standard == "din_70020":
        return [din_70020(conditions.pressure_hpa, conditions.temperature_c)]
    dry = [conditions.pressure_hpa - vapour for vapour in vapour_pressure_range_hpa(conditions)]
    if diesel:
        delivery = engine.fuel_delivery_mg
        fms = [0.3, 1.2] if delivery is None else [engine_factor(delivery, engine.boost_pressure_ratio)]
        return [iso_1585_ci(pd, conditions.temperature_c, engine, fm) for pd, fm in product(dry, fms)]
    formula = _ON_DRY_PRESSURE[standard]
    return [formula(pd, conditions.temperature_c) for pd in dry]


def _limit_flags(standard: str, conditions: Conditions, low: float, high: float) -> list[str]:
    limits = _LIMITS[standard]
    vapour_low, vapour_high = vapour_pressure_range_hpa(conditions)
    dry = (conditions.pressure_hpa - vapour_high, conditions.pressure_hpa - vapour_low)
    intake = (conditions.temperature_c, conditions.temperature_c)
    found = [
        _outside("The factor", "", 3, (low, high), limits.factor),
        _outside("The intake air temperature", " °C", 1, intake, limits.temperature_c),
        _outside("The dry air pressure", " hPa", 0, dry, limits.pressure_hpa),
    ]
    end = f" of {STANDARDS[standard]}."
    return [f"{what} {limits.known_from} {band}{end}" for what, band in filter(None, found)]


def _outside(
    name: str, unit: str, decimals: int, span: tuple[float, float], limit: tuple[float, float] | None
) -> tuple[str, str] | None:
    if limit is None or (span[0] >= limit[0] and span[1] <= limit[1]):
        return None
    worst = span[1] if span[1] > limit[1] else span[0]
    return f"{name} {worst:.{decimals}f}{unit} is outside", f"{limit[0]:g} to {limit[1]:g}{unit}"


def _missing_flags(
    standard: str, conditions: Conditions, engine: Engine, diesel: bool, low: float, high: float
) -> list[str]:
    if standard in ("none", "din_70020"):
        return []
    flags = []
    if not conditions.humidity_known:
        flags.append(f"Humidity not recorded: the factor is {low:.4f} to {high:.4f} for 0 to 100 % humidity.")
    if diesel and engine.fuel_delivery_mg is None:
        flags.append(
            f"Fuel delivery not recorded: the engine factor lies between 0.3 and 1.2, "
            f"the correction between {low:.4f} and {high:.4f}."
        )
    return flags


def _fit_flags(standard: str, engine: Engine) -> list[str]:
    flags = []
    if standard in ("iso_1585", "sae_j1349", "sae_j1349_2004") and engine.ignition == "compression":
        flags.append(f"{STANDARDS[standard]} is the spark-ignition form; for compression ignition use ISO 1585's own.")
    if standard == "iso_1585_ci" and engine.ignition == "spark":
        flags.append("This is the compression-ignition form; the engine is recorded as spark ignition.")
    if standard == "din_70020":
        flags.append("DIN 70020 is taken on the total pressure; humidity does not enter.")
    if standard != "none" and engine.charging != "none":
        flags.append(BOOST_CAUTION)
    return flags
