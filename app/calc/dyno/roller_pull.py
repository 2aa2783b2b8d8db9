"""A pull of a dyno that records roller speed alone: power, and torque where the engine's speed is known."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.inertia import RollerPower, engine_speed_rpm
from app.calc.dyno.rollers import Rollers, power_on
from app.calc.number_text import plain

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gearing:
    """Engine turns per wheel turn, and the tyre's rolling radius."""

    ratio: float
    tyre_radius_m: float


@dataclass(frozen=True, slots=True, eq=False)
class RollerPull:
    """Power with its uncertainty, the engine's speed where the log or the gearing gives it, and what was assumed."""

    power: RollerPower
    speed_rpm: Values | None
    assumed: str

    @property
    def torque_nm(self) -> Values | None:
        """P/ω at the engine's speed; none where the engine stands."""
        if self.speed_rpm is None:
            return None
        turning = np.where(self.speed_rpm > 0, self.speed_rpm, np.nan)
        return np.asarray(self.power.power_kw * 30_000.0 / (pi * turning), np.float64)

    @property
    def channels(self) -> dict[str, Values] | None:
        """The channels of a run; None while the engine's speed is not known, without which there is no curve."""
        torque = self.torque_nm
        if self.speed_rpm is None or torque is None:
            return None
        return {
            "time_s": self.power.time_s,
            "engine_speed_rpm": self.speed_rpm,
            "power_kw": self.power.power_kw,
            "torque_nm": torque,
            "vehicle_speed_kmh": self.power.speed_ms * 3.6,
        }


def roller_pull(
    rollers: Rollers,
    time_s: Values,
    omega_rad_s: Values,
    *,
    recorded_rpm: Values | None,
    gearing: Gearing | None,
    road_speed_measured: bool,
    window_s: float,
) -> RollerPull:
    """Engine speed as recorded, else by the gearing without slip."""
    found = power_on(rollers, time_s, omega_rad_s, road_speed_measured=road_speed_measured, window_s=window_s)
    speed, geared = recorded_rpm, ""
    if speed is None and gearing is not None:
        ratio, tyre = gearing.ratio, gearing.tyre_radius_m
        speed = np.array([engine_speed_rpm(float(v), ratio, tyre) for v in found.speed_ms])
        geared = f"; engine speed from {plain(ratio, 3)} engine turns per wheel turn and {plain(tyre, 3)} m, no slip"
    assumed = f"Power computed from {'road' if road_speed_measured else 'roller'} speed with {rollers.text}; "
    assumed += f"differentiated over {plain(window_s, 2)} s{geared}."
    return RollerPull(found, speed, assumed)
