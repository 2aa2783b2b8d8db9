"""The correction factor of a session's own air under a standard, its own or another one."""

from app.calc.dyno.atmosphere import Conditions
from app.calc.dyno.correction import CorrectionFactor, Engine, correction

UNCORRECTED = CorrectionFactor("none", 1.0, 1.0, 1.0, True, ())


def session_factor(
    standard: str,
    *,
    pressure_hpa: float | None,
    temperature_c: float | None,
    relative_humidity_percent: float | None,
    diesel: bool = False,
    boosted: bool = False,
) -> CorrectionFactor | None:
    """The factor; None when the standard needs pressure and temperature and one of them was not recorded."""
    if standard == "none":
        return UNCORRECTED
    if pressure_hpa is None or temperature_c is None:
        return None
    engine = Engine(ignition="compression" if diesel else "spark", charging="turbocharger" if boosted else "none")
    return correction(standard, Conditions(pressure_hpa, temperature_c, relative_humidity_percent), engine=engine)
