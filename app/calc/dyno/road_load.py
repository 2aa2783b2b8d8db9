"""Road load F = A + B·v + C·v² (40 CFR 1066.210) and its fit to a coast-down (40 CFR 1066.301, SAE J2263)."""

from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput

Array = NDArray[np.float64]

# Rotating mass as a share of the test mass when it was not measured (40 CFR 1066, as summarised for SAE J2263).
ROTATING_SHARE = 0.03
_NODES = 40


def effective_mass_kg(test_mass_kg: float) -> float:
    """Test mass plus the usual share of rotating mass.

    >>> effective_mass_kg(1500.0)
    1545.0
    """
    return (1.0 + ROTATING_SHARE) * test_mass_kg


@dataclass(frozen=True, slots=True)
class RoadLoad:
    """Coefficients in N, N/(m/s), N/(m/s)²."""

    a_n: float
    b_n_per_ms: float = 0.0
    c_n_per_ms2: float = 0.0

    @overload
    def force_n(self, speed_ms: float) -> float: ...
    @overload
    def force_n(self, speed_ms: Array) -> Array: ...
    def force_n(self, speed_ms: float | Array) -> float | Array:
        """Force at a speed."""
        return self.a_n + (self.b_n_per_ms + self.c_n_per_ms2 * speed_ms) * speed_ms

    @overload
    def power_kw(self, speed_ms: float) -> float: ...
    @overload
    def power_kw(self, speed_ms: Array) -> Array: ...
    def power_kw(self, speed_ms: float | Array) -> float | Array:
        """Power that the load takes at a speed."""
        return self.force_n(speed_ms) * speed_ms / 1000.0

    def coast_time_s(self, mass_kg: float, from_ms: float, to_ms: float) -> float:
        """Time to slow down under this load alone: ∫ M dv / F(v), by Gauss–Legendre."""
        return float(self._times(mass_kg, from_ms, np.array([to_ms]))[0])

    def _times(self, mass_kg: float, from_ms: float, to_ms: Array) -> Array:
        x, w = np.polynomial.legendre.leggauss(_NODES)
        half = (from_ms - to_ms) / 2
        speeds = to_ms[:, None] + half[:, None] * (1 + x)
        force = self.force_n(speeds)
        if not (force > 0).all():
            raise BadInput("The road load is not positive over the whole speed range; nothing would slow down.")
        return np.asarray(mass_kg * (half[:, None] * w / force).sum(axis=1))


@dataclass(frozen=True, slots=True)
class CoastDown:
    """A fitted road load: standard errors in the order A, B, C; `rms_ms` is the scatter of speed about the fit."""

    road_load: RoadLoad
    standard_errors: tuple[float, float, float]
    rms_ms: float
    samples: int


def fit_coast_down(time_s: Array, speed_ms: Array, *, mass_kg: float, iterations: int = 30) -> CoastDown:
    """Fit A, B, C so that the coast from the first speed passes through the samples.

    Times of given speeds (split times) or speeds at given times are both fine. The times are computed by quadrature
    and compared in units of speed (time residual × deceleration), by Gauss–Newton. Raises BadInput when the samples
    do not slow down or are too few or too alike to tell three coefficients.
    """
    t, v = np.asarray(time_s, float), np.asarray(speed_ms, float)
    _check(t, v, mass_kg)
    reference = float(v.max())
    estimate = _first_estimate(t, v, mass_kg)
    offset = 0.0
    for _ in range(iterations):
        load = RoadLoad(*estimate)
        jacobian, residual = _linearised(load, t - offset, v, mass_kg, reference)
        # Scaled columns: A, B·v, C·v² are then of one size.
        scale = np.array([1.0, 1.0 / reference, 1.0 / reference**2, 1.0])
        step, _, rank, _ = np.linalg.lstsq(jacobian * scale, residual, rcond=1e-12)
        if rank < 4:
            raise BadInput("The speeds are too alike to fit a road load; coast over a wider range.", field="speed_ms")
        step = step * scale
        estimate, offset = estimate + step[:3], offset + float(step[3])
        if np.abs(step[:3] / scale[:3]).max() < 1e-9 * max(1.0, float(np.abs(estimate / scale[:3]).max())):
            break
    else:
        raise BadInput("The coast-down could not be fitted; check that the car rolled freely throughout.")
    load = RoadLoad(*(float(x) for x in estimate))
    jacobian, residual = _linearised(load, t - offset, v, mass_kg, reference)
    variance = float(residual @ residual) / max(t.size - 4, 1)
    errors = np.sqrt(np.diag(np.linalg.inv((jacobian * scale).T @ (jacobian * scale))) * variance) * scale
    a, b, c = (float(x) for x in errors[:3])
    return CoastDown(load, (a, b, c), float(np.sqrt(residual @ residual / t.size)), int(t.size))


def _check(t: Array, v: Array, mass_kg: float) -> None:
    if t.ndim != 1 or t.shape != v.shape or t.size < 5:
        raise BadInput("A coast-down needs at least five samples of time and speed.", field="time_s")
    if not (np.isfinite(t).all() and np.isfinite(v).all() and (np.diff(t) > 0).all()):
        raise BadInput("Time must increase from sample to sample and nothing may be missing.", field="time_s")
    if not mass_kg > 0:
        raise BadInput("The effective mass must be above 0 kg.", field="mass_kg")
    if not v.min() > 0 or not v[0] - v[-1] > 0.1 * v[0]:
        raise BadInput("The speed must fall by at least a tenth and stay above 0.", field="speed_ms")


def _first_estimate(t: Array, v: Array, mass_kg: float) -> Array:
    """A constant and a quadratic part from the mean decelerations of the two halves: always positive."""
    middle = t.size // 2
    early = mass_kg * max((v[0] - v[middle]) / (t[middle] - t[0]), 1e-6)
    late = mass_kg * max((v[middle] - v[-1]) / (t[-1] - t[middle]), 1e-6)
    fast, slow = (v[0] + v[middle]) / 2, (v[middle] + v[-1]) / 2
    c = max((early - late) / (fast**2 - slow**2), 1e-3 * early / fast**2)
    return np.array([max(late - c * slow**2, 0.05 * late), 0.0, c])


def _linearised(load: RoadLoad, t: Array, v: Array, mass_kg: float, reference: float) -> tuple[Array, Array]:
    """Residuals in speed and their sensitivities to A, B, C and the start time, by the same quadrature."""
    x, w = np.polynomial.legendre.leggauss(_NODES)
    half = (reference - v) / 2
    speeds = v[:, None] + half[:, None] * (1 + x)
    force = load.force_n(speeds)
    if not (force > 0).all():
        raise BadInput("The fitted road load is not positive over the coast; check that the car rolled freely.")
    deceleration = load.force_n(v) / mass_kg
    predicted = mass_kg * (half[:, None] * w / force).sum(axis=1)
    inner = -mass_kg * half[:, None] * w / force**2
    columns = [(inner * speeds**k).sum(axis=1) for k in range(3)]
    jacobian = np.stack([*columns, np.ones_like(v)], axis=1) * deceleration[:, None]
    return jacobian, (t - predicted) * deceleration
