"""Motion along a straight strip, phase by phase: pulling in a gear, rolling while shifting, holding a speed.

Between events (knots of the power curve, tyre limit, gear change) time and distance are integrals over speed of
smooth functions, t = ∫ m dv / N(v) and x = ∫ m v dv / N(v) with the net force N: Gauss–Legendre quadrature is exact
to rounding there, and needs no steps in time. Rolling has a closed form.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import atan, exp, expm1, log1p, pi, sin, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput

Array = NDArray[np.float64]
Force = Callable[[Array], Array]

_ROUNDS = 60
_TINY = 1e-140
# A pole of the integrand as far away as the segment is long (force within a factor of 2 over it) leaves an error of
# 5.8^-20 with ten points; a factor of 1.25 puts it four lengths away, 18^-10 with five.
_STEEP, _GENTLE = 2.0, 1.25


def _gauss(points: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(points)
    return (1 + nodes) / 2, weights / 2


_FULL, _SHORT = _gauss(10), _gauss(5)


@dataclass(frozen=True, slots=True)
class Resistance:
    """Rolling and air: A + C·v², N and N/(m/s)²."""

    a_n: float
    c_n_per_ms2: float

    def force(self, v: Array) -> Array:
        return self.a_n + self.c_n_per_ms2 * v * v


@dataclass(slots=True, eq=False)
class Pulling:
    """Full load in one gear: edges of speed, with time and distance at each; `net` is the force left to accelerate."""

    mass_kg: float
    net: Force
    v: Array
    t: Array
    x: Array

    @property
    def x0(self) -> float:
        return float(self.x[0])

    @property
    def x1(self) -> float:
        return float(self.x[-1])

    @property
    def t1(self) -> float:
        return float(self.t[-1])

    @property
    def v1(self) -> float:
        return float(self.v[-1])

    def at_distance(self, x: Array) -> tuple[Array, Array]:
        """(time, speed) at distances within the phase, by Newton on the quadrature."""
        k = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, self.v.size - 2)
        low, high, x_low = self.v[k], self.v[k + 1], self.x[k]
        share = (x - x_low) / np.maximum(self.x[k + 1] - x_low, 1e-300)
        v = np.clip(np.sqrt(low * low + share * (high * high - low * low)), low, high)
        for _ in range(_ROUNDS):
            _, covered = self._from(low, v)
            slope = self.mass_kg * v / self.net(v)
            step = (x_low + covered - x) / slope
            v = np.clip(v - step, low + 1e-12 * (high - low), high)
            if np.abs(step).max() <= 1e-14 * np.abs(v).max():
                break
        elapsed, _ = self._from(low, v)
        return self.t[k] + elapsed, v

    def time_at_speed(self, v: float) -> float:
        """Time at a speed within the phase."""
        k = int(np.clip(np.searchsorted(self.v, v, side="right") - 1, 0, self.v.size - 2))
        elapsed, _ = self._from(self.v[k : k + 1], np.array([v]))
        return float(self.t[k] + elapsed[0])

    def trace(self) -> tuple[Array, Array, Array]:
        return self.t, self.x, self.v

    def _from(self, low: Array, high: Array) -> tuple[Array, Array]:
        return _integrals(self.mass_kg, self.net, low, high)


@dataclass(frozen=True, slots=True)
class Rolling:
    """No drive for a set time, slowed by A + C·v²: m dv/dt = −(A + C v²) in closed form.

    With s = √(AC) and δ = s·τ/m the usual tangent solution is written so that it stays exact as A or C goes to zero:
    v = (v0 − A k)/(1 + C v0 k), k = tan δ / s; x = m/C · ln(1 + C Y), Y = v0 sin δ / s − A (1 − cos δ) / s².
    """

    mass_kg: float
    resistance: Resistance
    v0: float
    t0: float
    x0: float
    duration_s: float

    @property
    def t1(self) -> float:
        return self.t0 + self.duration_s

    @property
    def v1(self) -> float:
        a, c = self.resistance.a_n, self.resistance.c_n_per_ms2
        s = sqrt(a) * sqrt(c)
        delta = s * self.duration_s / self.mass_kg
        k = self.duration_s / self.mass_kg if s < _TINY else tan(min(delta, pi / 2)) / s
        v = (self.v0 - a * k) / (1 + c * self.v0 * k)
        if v <= 0 or delta >= pi / 2:
            raise BadInput("The car would stop during a gear change; check shift time and speed.", field="shift_time_s")
        return v

    @property
    def x1(self) -> float:
        a, c, elapsed = self.resistance.a_n, self.resistance.c_n_per_ms2, self.duration_s / self.mass_kg
        s = sqrt(a) * sqrt(c)
        sine = elapsed if s < _TINY else sin(s * elapsed) / s
        versine = elapsed**2 / 2 if s < _TINY else 2 * (sin(s * elapsed / 2) / s) ** 2
        y = self.v0 * sine - a * versine
        return self.x0 + self.mass_kg * (y if c < _TINY else log1p(c * y) / c)

    def at_distance(self, x: Array) -> tuple[Array, Array]:
        pairs = [self._at((float(distance) - self.x0) / self.mass_kg) for distance in x]
        return np.array([t for t, _ in pairs]), np.array([v for _, v in pairs])

    def _at(self, rolled: float) -> tuple[float, float]:
        """(time, speed) after a distance over mass; v² = v0²·e^(−2Cd) − A·g with g = (1 − e^(−2Cd))/C."""
        a, c, v0 = self.resistance.a_n, self.resistance.c_n_per_ms2, self.v0
        g = 2 * rolled if c < _TINY else -expm1(-2 * c * rolled) / c
        v = sqrt(max(v0**2 * exp(-2 * c * rolled) - a * g, 0.0))
        share = 1.0 if a + c < _TINY else (a + c * v0**2) / (a + c * v0 * v)
        q = g * share / (v0 + v)
        s = sqrt(a) * sqrt(c)
        return self.t0 + self.mass_kg * (q if s < _TINY else atan(s * q) / s), v

    def trace(self) -> tuple[Array, Array, Array]:
        return np.array([self.t0, self.t1]), np.array([self.x0, self.x1]), np.array([self.v0, self.v1])


@dataclass(frozen=True, slots=True)
class Holding:
    """A constant speed up to the end: the limiter in the last gear, or no force left."""

    v1: float
    t0: float
    x0: float
    x1: float

    @property
    def t1(self) -> float:
        return self.t0 + (self.x1 - self.x0) / self.v1

    def at_distance(self, x: Array) -> tuple[Array, Array]:
        return self.t0 + (x - self.x0) / self.v1, np.full_like(x, self.v1)

    def trace(self) -> tuple[Array, Array, Array]:
        return np.array([self.t0, self.t1]), np.array([self.x0, self.x1]), np.array([self.v1, self.v1])


Phase = Pulling | Rolling | Holding


def pull(mass_kg: float, net: Force, edges: Array, *, t0: float, x0: float, until_m: float) -> tuple[Pulling, bool]:
    """Pull from the first edge to the last; True when it ends because no force is left before that.

    edges : ascending speeds that hold every kink of `net`. Segments in which the net force falls steeply are
        halved until quadrature is exact to rounding; nothing beyond `until_m` is refined.
    """
    edges, settled = _refined(net, edges, None)
    rule = _SHORT if _even(net(np.maximum(edges, 1e-9)), _GENTLE).all() else _FULL
    t, x = _integrals(mass_kg, net, edges[:-1], edges[1:], rule)
    reach = x0 + np.cumsum(x)
    if not settled.all():
        first = int(np.argmin(settled))
        if first == 0 or reach[first - 1] < until_m:
            edges, _ = _refined(net, edges, _ROUNDS)
            t, x = _integrals(mass_kg, net, edges[:-1], edges[1:])
            reach = x0 + np.cumsum(x)
        else:
            edges, t, x, reach = edges[: first + 1], t[:first], x[:first], reach[:first]
    starved = bool(net(edges[-1:])[0] < 1e-6 * net(edges[1:2])[0])
    last = int(np.searchsorted(reach, until_m)) + 1
    phase = Pulling(
        mass_kg,
        net,
        edges[: last + 1],
        np.concatenate(([t0], t0 + np.cumsum(t[:last]))),
        np.concatenate(([x0], reach[:last])),
    )
    if phase.x1 < until_m:
        return phase, starved
    finish_t, finish_v = phase.at_distance(np.array([until_m]))
    phase.v[-1], phase.t[-1], phase.x[-1] = finish_v[0], finish_t[0], until_m
    return phase, False


def _integrals(
    mass_kg: float, net: Force, low: Array, high: Array, rule: tuple[Array, Array] = _FULL
) -> tuple[Array, Array]:
    """∫ m dv/N and ∫ m v dv/N from each low to each high."""
    nodes, weights = rule
    width = high - low
    v = low[:, None] + width[:, None] * nodes
    share = mass_kg / net(v)
    return width * (share @ weights), width * ((share * v) @ weights)


def _refined(net: Force, edges: Array, rounds: int | None) -> tuple[Array, NDArray[np.bool_]]:
    """Halve steep segments; with `rounds` None only tell which segments are fit for quadrature as they are.

    A segment is fit when the net force, or the net power, changes by no more than a factor of two over it: a pole
    then lies at least as far away as the segment is long. Where the force runs out, halving closes in on that speed.
    """
    for _ in range(rounds or 1):
        force = net(np.maximum(edges, 1e-9))
        power = force * np.maximum(edges, 1e-9)
        positive = force > 0
        if not positive[0]:
            raise BadInput("The car does not accelerate: the force at the wheels is less than the resistance.")
        if not positive.all():
            stop = int(np.argmin(positive))
            edges, force, power = edges[: stop + 1], force[: stop + 1], power[: stop + 1]
            positive = positive[: stop + 1]
        fit = positive[1:] & (_even(force, _STEEP) | _even(power, _STEEP))
        if rounds is None or fit.all():
            return edges, fit
        width = np.diff(edges)
        split = ~fit & (width > 1e-13 * edges[1:])
        if not split.any():
            break
        edges = np.sort(np.concatenate((edges, (edges[:-1] + width / 2)[split])))
    return (edges if positive[-1] else edges[:-1]), fit


def _even(values: Array, factor: float) -> NDArray[np.bool_]:
    low, high = values[:-1], values[1:]
    return np.asarray((high <= factor * low) & (low <= factor * high))
