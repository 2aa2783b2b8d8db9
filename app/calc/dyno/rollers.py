"""The rollers of a dyno that records speed alone, and the power of a pull on them with all its uncertainty."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.inertia import RollerPower, roller_power
from app.calc.dyno.road_load import RoadLoad
from app.calc.number_text import plain
from app.errors import BadInput

Array = NDArray[np.float64]

# Half width of a 95 % interval of a normal error, in standard uncertainties.
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Rollers:
    """Inertia of all that the wheels turn, radius of the roller's surface, the dyno's own drag A + B·v + C·v²; each
    with its standard uncertainty `…_u`."""

    inertia_kgm2: float
    radius_m: float
    a_n: float = 0.0
    b_n_per_ms: float = 0.0
    c_n_per_ms2: float = 0.0
    inertia_u: float = 0.0
    radius_u: float = 0.0
    a_u: float = 0.0
    b_u: float = 0.0
    c_u: float = 0.0

    def __post_init__(self) -> None:
        if not self.inertia_kgm2 > 0:
            raise BadInput("The inertia must be above 0.", field="inertia")
        if not self.radius_m > 0:
            raise BadInput("The radius of the roller must be above 0.", field="radius")
        if min(self.inertia_u, self.radius_u, self.a_u, self.b_u, self.c_u) < 0:
            raise BadInput("An uncertainty is never below 0.", field="inertia_u")

    def to_json(self) -> dict[str, float]:
        return asdict(self)

    @classmethod
    def from_json(cls, kept: Mapping[str, float]) -> "Rollers":
        return cls(**kept)

    @property
    def drag(self) -> RoadLoad:
        return RoadLoad(self.a_n, self.b_n_per_ms, self.c_n_per_ms2)

    @property
    def text(self) -> str:
        """What the power was computed with, on one line; ± is a 95 % interval."""
        parts = [
            f"inertia {_with(self.inertia_kgm2, self.inertia_u, 2)} kg·m²",
            f"roller radius {_with(self.radius_m, self.radius_u, 4)} m",
        ]
        if self.a_n or self.b_n_per_ms or self.c_n_per_ms2:
            parts.append(
                f"drag A {_with(self.a_n, self.a_u, 1)} N, B {_with(self.b_n_per_ms, self.b_u, 2)} N/(m/s), "
                f"C {_with(self.c_n_per_ms2, self.c_u, 4)} N/(m/s)²"
            )
        else:
            parts.append("no drag of the dyno")
        return ", ".join(parts)


def _with(value: float, u: float, decimals: int) -> str:
    if not u:
        return plain(value, decimals)
    half, least = COVERAGE * u, 10.0**-decimals
    return f"{plain(value, decimals)} ± " + (f"under {least:g}" if half < least / 2 else plain(half, decimals))


def power_on(
    rollers: Rollers, time_s: Array, omega_rad_s: Array, *, road_speed_measured: bool, window_s: float = 0.3
) -> RollerPower:
    """Power at the roller's surface; its uncertainty joins that of differentiating with those of the rollers.

    The inputs' errors are taken as independent. For A, B and C of one coast-down that is too careful: they move
    against each other. A measured roller speed needs the radius for the drag alone; from a road speed the inertia's
    share goes with 1/r².
    """
    found = roller_power(
        time_s,
        omega_rad_s,
        inertia_kgm2=rollers.inertia_kgm2,
        radius_m=rollers.radius_m,
        road_load=rollers.drag,
        window_s=window_s,
    )
    v = found.speed_ms
    inertial = rollers.inertia_kgm2 / rollers.radius_m**2 * found.acceleration_ms2 * v
    if road_speed_measured:
        by_radius = -2 * inertial / rollers.radius_m
    else:
        drag = rollers.drag
        by_radius = (drag.a_n + (2 * drag.b_n_per_ms + 3 * drag.c_n_per_ms2 * v) * v) * v / rollers.radius_m
    parts = (
        inertial * rollers.inertia_u / rollers.inertia_kgm2,
        by_radius * rollers.radius_u,
        rollers.a_u * v,
        rollers.b_u * v**2,
        rollers.c_u * v**3,
    )
    variance = found.power_u_kw**2 + np.square(np.stack(parts) / 1000.0).sum(axis=0)
    return RollerPower(found.time_s, v, found.acceleration_ms2, found.power_kw, np.sqrt(variance))
