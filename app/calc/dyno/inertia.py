"""Power from roller speed alone: inertia, gearing, and differentiation by local least squares."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.road_load import RoadLoad
from app.errors import BadInput

Array = NDArray[np.float64]

_RPM = 30.0 / pi
_QUADRATIC = 3


def equivalent_mass_kg(inertia_kgm2: float, radius_m: float) -> float:
    """Mass that a turning inertia stands for at a radius: I/r². With J·(total ratio)² an engine's at the road.

    >>> equivalent_mass_kg(90.0, 0.3048)
    968.7519375038...
    """
    return inertia_kgm2 / radius_m**2


def road_speed_ms(engine_speed_rpm: float, total_ratio: float, radius_m: float, *, slip: float = 0.0) -> float:
    """Road speed of an engine speed; slip s = 1 − v/(ω_wheel·r)."""
    return engine_speed_rpm / _RPM * radius_m / total_ratio * (1.0 - slip)


def engine_speed_rpm(speed_ms: float, total_ratio: float, radius_m: float, *, slip: float = 0.0) -> float:
    """Engine speed of a road speed, the inverse of `road_speed_ms`."""
    return speed_ms * total_ratio / radius_m * _RPM / (1.0 - slip)


def inertia_power_w(inertia_kgm2: float, omega_rad_s: float, alpha_rad_s2: float) -> float:
    """P = I·ω·α.

    >>> inertia_power_w(90.0, 150.0, 12.0)
    162000.0
    """
    return inertia_kgm2 * omega_rad_s * alpha_rad_s2


@dataclass(frozen=True, slots=True, eq=False)
class Derivative:
    """A signal smoothed and differentiated at its own sample times, each (n,).

    `slope_u` is the standard uncertainty of the slope from the scatter about the local fits. Neighbouring values
    share samples, so their errors move together over one window.
    """

    value: Array
    slope: Array
    slope_u: Array


@dataclass(frozen=True, slots=True, eq=False)
class RollerPower:
    """Power at the roller's surface, each (n,): time, surface speed, acceleration, power, its standard uncertainty."""

    time_s: Array
    speed_ms: Array
    acceleration_ms2: Array
    power_kw: Array
    power_u_kw: Array


def local_slope(time_s: Array, signal: Array, *, window_s: float) -> Derivative:
    """Least squares of a parabola over the samples within ± window/2 of each sample, at least five.

    At the ends the window is one-sided. Times must increase; they need not be even.
    """
    t, y = np.asarray(time_s, float), np.asarray(signal, float)
    if t.ndim != 1 or t.shape != y.shape or t.size < 5:
        raise BadInput("At least five samples of time and speed are needed.", field="time_s")
    if not (np.isfinite(t).all() and np.isfinite(y).all() and (np.diff(t) > 0).all()):
        raise BadInput("Time must increase from sample to sample and nothing may be missing.", field="time_s")
    half = window_s / 2
    low = np.minimum(np.searchsorted(t, t - half), np.clip(np.arange(t.size) - 2, 0, t.size - 5))
    high = np.maximum(np.searchsorted(t, t + half, side="right"), low + 5)
    moments, products = _moments(t, y, low, high, half)
    coefficients = np.linalg.solve(moments, products[..., None])[..., 0]
    inverse = np.linalg.inv(moments)
    squares = _window_sums((y - y.mean()) ** 2, low, high)
    residual = np.maximum(squares - (coefficients * products).sum(axis=1), 0.0)
    count = high - low
    freedom = np.maximum(count - _QUADRATIC, 1)
    # Each residual sum has few degrees of freedom, so the scatter is pooled over the whole signal.
    scatter = np.sqrt(residual.sum() / freedom.sum())
    return Derivative(
        value=coefficients[:, 0] + y.mean(),
        slope=np.asarray(coefficients[:, 1] / half, np.float64),
        slope_u=scatter * np.sqrt(inverse[:, 1, 1]) / half,
    )


def _moments(t: Array, y: Array, low: NDArray[np.intp], high: NDArray[np.intp], half: float) -> tuple[Array, Array]:
    """Normal equations of each window in u = (t − t_i)/half: (n, 3, 3) and (n, 3)."""
    widest = int((high - low).max())
    at = low[:, None] + np.arange(widest)
    inside = at < high[:, None]
    at = np.minimum(at, t.size - 1)
    u = np.where(inside, (t[at] - t[:, None]) / half, 0.0)
    weights = np.stack([inside.astype(float), u, u * u], axis=-1)
    values = np.where(inside, y[at] - y.mean(), 0.0)
    return np.einsum("nki,nkj->nij", weights, weights), np.einsum("nki,nk->ni", weights, values)


def _window_sums(values: Array, low: NDArray[np.intp], high: NDArray[np.intp]) -> Array:
    total = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(total[high] - total[low])


def roller_power(
    time_s: Array,
    omega_rad_s: Array,
    *,
    inertia_kgm2: float,
    radius_m: float,
    road_load: RoadLoad | None = None,
    window_s: float = 0.3,
) -> RollerPower:
    """P = (I/r²·a + A + B·v + C·v²)·v from the roller's angular speed.

    inertia_kgm2 : all that the wheels turn (rolls; the vehicle's own wheels and engine are not in it unless added).
    road_load : the dyno's own drag, or the load it was set to; None when it has none.
    """
    if not inertia_kgm2 > 0 or not radius_m > 0 or not window_s > 0:
        raise BadInput("Roller inertia, radius and window must be above 0.", field="inertia_kgm2")
    found = local_slope(time_s, omega_rad_s, window_s=window_s)
    mass = equivalent_mass_kg(inertia_kgm2, radius_m)
    speed, acceleration = found.value * radius_m, found.slope * radius_m
    force = mass * acceleration + (0.0 if road_load is None else road_load.force_n(speed))
    return RollerPower(
        time_s=np.asarray(time_s, float),
        speed_ms=speed,
        acceleration_ms2=acceleration,
        power_kw=force * speed / 1000.0,
        power_u_kw=mass * found.slope_u * radius_m * np.abs(speed) / 1000.0,
    )
