"""How many places a number is worth showing with."""

import math

from app.calc.calibration.datatype import DataType, storage
from app.calc.calibration.scaling import Scaling

_MOST = 6


def decimals_of(scaling: Scaling, data_type: DataType, given: int | None = None) -> int:
    """The places the layout gives; else as many as one step of the stored number needs, 3 for floats.

    >>> decimals_of(Scaling.linear(0.25), "uint16")
    2
    """
    if given is not None:
        return given
    if scaling.decimals is not None:
        return scaling.decimals
    if storage(data_type).is_float:
        return 3
    if scaling.kind == "linear":
        return _places(scaling.coefficients[0])
    if scaling.kind == "rational":
        b, e, f = scaling.coefficients[1], scaling.coefficients[4], scaling.coefficients[5]
        return _places(f / b) if b and not e else 3
    return 0 if scaling.kind in ("identical", "text table") else 2


def _places(step: float) -> int:
    step = abs(step)
    for places in range(_MOST):
        if math.isclose(step * 10**places, round(step * 10**places), rel_tol=1e-9) and round(step * 10**places):
            return places
    return min(_MOST, max(0, math.ceil(-math.log10(step)))) if step else 0
