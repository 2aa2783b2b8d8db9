"""A computed run down the strip from the wheel-power curve, and what a revision changes about it."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.strip_motion import Array, Force, Holding, Phase, Pulling, Resistance, Rolling, pull
from app.errors import BadInput

STANDARD_GRAVITY = 9.80665
FOOT_M = 0.3048
# Beams at 60, 330, 660, 1000 and 1320 ft; trap speed is the mean over the last 66 ft (common practice, from memory).
BEAMS_FT = (60, 330, 660, 1000, 1320)
TRAP_FT = 66
ROLLOUT_M = FOOT_M
_SPEED_60MPH = 60 * 1609.344 / 3600
_SPEED_100KMH = 100 / 3.6
_RPM = 30.0 / pi


@dataclass(frozen=True, slots=True)
class StripCar:
    """What the computation needs to know of a car.

    mass_kg : ready to run, with driver. cda_m2 : drag area. crr : rolling resistance as a share of weight.
    gear_ratios : first gear first. tyre_radius_m : dynamic rolling radius.
    shift_time_s : without drive at each change. shift_speed_rpm : where to change; None is the curve's end.
    friction : tyre to strip; None for no limit. driven_weight_share : of the weight on the driven wheels,
    taken as constant. launch_speed_rpm : engine speed that clutch or converter holds until the road catches up
    (the wheels then get that speed's torque); None is the curve's beginning.
    rotating_mass_kg : wheels and shafts as mass at the road. engine_inertia_kgm2 : turns with the gear's ratio.
    """

    mass_kg: float
    cda_m2: float
    crr: float
    gear_ratios: tuple[float, ...]
    final_drive: float
    tyre_radius_m: float
    shift_time_s: float = 0.3
    shift_speed_rpm: float | None = None
    friction: float | None = 1.0
    driven_weight_share: float = 0.6
    launch_speed_rpm: float | None = None
    rotating_mass_kg: float = 0.0
    engine_inertia_kgm2: float = 0.0
    rollout_m: float = ROLLOUT_M

    def __post_init__(self) -> None:
        positive = ("mass_kg", "final_drive", "tyre_radius_m", "driven_weight_share")
        not_negative = ("cda_m2", "crr", "shift_time_s", "rotating_mass_kg", "engine_inertia_kgm2", "rollout_m")
        for name in (*positive, *not_negative):
            value = getattr(self, name)
            if not (np.isfinite(value) and (value > 0 or (value == 0 and name in not_negative))):
                least = "above 0" if name in positive else "0 or more"
                raise BadInput(f"{name} is {value:g}; it must be {least}.", field=name)
        if not self.gear_ratios or any(not g > 0 for g in self.gear_ratios):
            raise BadInput("Give each gear's ratio, first gear first, all above 0.", field="gear_ratios")
        if any(b >= a for a, b in zip(self.gear_ratios, self.gear_ratios[1:], strict=False)):
            raise BadInput("Gear ratios must fall from first gear on.", field="gear_ratios")
        if self.driven_weight_share > 1:
            raise BadInput("The driven share of weight is at most 1.", field="driven_weight_share")
        if self.friction is not None and not self.friction > 0:
            raise BadInput("The friction coefficient must be above 0.", field="friction")


@dataclass(frozen=True, slots=True, eq=False)
class StripTrace:
    """The whole run, each (n,): time and distance from the first movement, speed, gear (0 while shifting)."""

    time_s: Array
    distance_m: Array
    speed_ms: Array
    gear: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class StripResult:
    """Elapsed times from the rollout point, trap speeds, and times from standstill; None when not reached."""

    et_60ft_s: float
    et_330ft_s: float
    et_660ft_s: float
    trap_660ft_kmh: float
    et_1000ft_s: float
    et_1320ft_s: float
    trap_1320ft_kmh: float
    t_0_60mph_s: float | None
    t_0_100kmh_s: float | None
    finish_speed_kmh: float
    rollout_s: float
    trace: StripTrace

    def figures(self) -> dict[str, float]:
        """Every figure that was reached, by name."""
        named = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "trace"}
        return {name: value for name, value in named.items() if value is not None}


def simulate_strip(car: StripCar, speed_rpm: Array, wheel_power_kw: Array, *, air_density_kgm3: float) -> StripResult:
    """Compute a run from standstill at full load.

    speed_rpm, wheel_power_kw : (n,) the curve, engine speed ascending, straight lines between the points. Give power
        for the air of the run, not corrected to another.
    The car is a point mass on a level strip without wind; grip and weight distribution are constant.
    """
    speed, power = _curve(speed_rpm, wheel_power_kw)
    if not (np.isfinite(air_density_kgm3) and air_density_kgm3 >= 0):
        raise BadInput("Air density must not be negative.", field="air_density_kgm3")
    phases = _run(car, speed, power, air_density_kgm3)
    return _read_off(car, [p for p, _ in phases], _trace(phases))


def _curve(speed_rpm: Array, wheel_power_kw: Array) -> tuple[Array, Array]:
    speed, power = np.asarray(speed_rpm, float), np.asarray(wheel_power_kw, float)
    if speed.ndim != 1 or speed.shape != power.shape or speed.size < 2:
        raise BadInput("A power curve needs at least two points of engine speed and power.", field="wheel_power_kw")
    if not (np.isfinite(speed).all() and np.isfinite(power).all()):
        raise BadInput("The power curve has missing values.", field="wheel_power_kw")
    if speed[0] < 0 or not (np.diff(speed) > 0).all():
        raise BadInput("The curve's engine speeds must rise from point to point.", field="speed_rpm")
    if not (power >= 0).all() or not power.max() > 0:
        raise BadInput("Wheel power must not be negative.", field="wheel_power_kw")
    return speed, power


def _run(car: StripCar, speed: Array, power: Array, density: float) -> list[tuple[Phase, int]]:
    """Phases with their gear, up to the end of the strip."""
    resistance = Resistance(car.crr * car.mass_kg * STANDARD_GRAVITY, density * car.cda_m2 / 2)
    until = car.rollout_m + BEAMS_FT[-1] * FOOT_M
    shift_at = float(speed[-1]) if car.shift_speed_rpm is None else min(car.shift_speed_rpm, float(speed[-1]))
    phases: list[tuple[Phase, int]] = []
    v, t, x = 0.0, 0.0, 0.0
    for gear in range(len(car.gear_ratios)):
        model = _Gear(car, gear, speed, power, resistance)
        top = shift_at / model.rpm_per_ms
        if top <= v:
            continue
        phase, starved = pull(model.mass_kg, model.net, model.edges(v, top), t0=t, x0=x, until_m=until)
        phases.append((phase, gear + 1))
        v, t, x = phase.v1, phase.t1, phase.x1
        if x >= until:
            return phases
        if starved:
            break
        if not _next_gear_pulls(car, gear, speed, power, resistance, v):
            break
        if car.shift_time_s > 0:
            rolling = Rolling(car.mass_kg + car.rotating_mass_kg, resistance, v, t, x, car.shift_time_s)
            if rolling.x1 >= until:
                finish_s = float(rolling.at_distance(np.array([until]))[0][0])
                phases.append((replace(rolling, duration_s=finish_s - t), 0))
                return phases
            phases.append((rolling, 0))
            v, t, x = rolling.v1, rolling.t1, rolling.x1
    phases.append((Holding(v, t, x, until), phases[-1][1]))
    return phases


def _next_gear_pulls(car: StripCar, gear: int, speed: Array, power: Array, resistance: Resistance, v: float) -> bool:
    """True when there is a next gear and it can still accelerate the car; else the driver stays in this one."""
    if gear + 1 == len(car.gear_ratios):
        return False
    if car.shift_time_s > 0:
        v = Rolling(car.mass_kg + car.rotating_mass_kg, resistance, v, 0.0, 0.0, car.shift_time_s).v1
    return bool(_Gear(car, gear + 1, speed, power, resistance).net(np.array([v]))[0] > 0)


class _Gear:
    """Force at the wheels in one gear as a function of road speed."""

    def __init__(self, car: StripCar, gear: int, speed: Array, power: Array, resistance: Resistance) -> None:
        ratio = car.gear_ratios[gear] * car.final_drive
        self.rpm_per_ms = ratio / car.tyre_radius_m * _RPM
        referred = car.engine_inertia_kgm2 * (ratio / car.tyre_radius_m) ** 2
        self.mass_kg = car.mass_kg + car.rotating_mass_kg + referred
        launch = float(speed[0]) if car.launch_speed_rpm is None else max(car.launch_speed_rpm, float(speed[0]))
        self._launch_ms = min(launch, float(speed[-1])) / self.rpm_per_ms
        self._knots, self._power = speed / self.rpm_per_ms, power * 1000.0
        limit = car.friction
        self._grip_n = np.inf if limit is None else limit * car.mass_kg * STANDARD_GRAVITY * car.driven_weight_share
        self.net = self._net(resistance)

    def _net(self, resistance: Resistance) -> Force:
        knots, power, launch, grip = self._knots, self._power, self._launch_ms, self._grip_n

        def net(v: Array) -> Array:
            driven = np.maximum(v, launch)
            force = np.interp(driven, knots, power) / driven
            return np.minimum(force, grip) - resistance.force(v)

        return net

    def edges(self, low: float, high: float) -> Array:
        """Speeds from low to high that hold every kink of the net force."""
        kinks = np.concatenate((self._knots, [self._launch_ms], self._grip_speeds()))
        kinks = kinks[(kinks > low) & (kinks < high)]
        even = np.linspace(low, high, 9) if kinks.size < 32 else np.array([low, high])
        edges = np.sort(np.concatenate((kinks, even)))
        return edges[np.concatenate(([True], np.diff(edges) > 0))]

    def _grip_speeds(self) -> Array:
        """Where the power curve meets the grip line; power is straight between knots, so these are exact."""
        if not np.isfinite(self._grip_n):
            return np.empty(0)
        excess = self._power - self._grip_n * self._knots
        a, b = excess[:-1], excess[1:]
        cross = a * b < 0
        share = a[cross] / (a[cross] - b[cross])
        return np.asarray(self._knots[:-1][cross] + share * np.diff(self._knots)[cross])


def _read_off(car: StripCar, phases: list[Phase], trace: StripTrace) -> StripResult:
    offsets_ft = (0, 60, 330, 660 - TRAP_FT, 660, 1000, 1320 - TRAP_FT, 1320)
    marks = car.rollout_m + np.array(offsets_ft) * FOOT_M
    t, v = np.zeros_like(marks), np.zeros_like(marks)
    for phase in phases:
        inside = (marks >= phase.x0) & (marks <= phase.x1 + 1e-9) & (marks > 0)
        if inside.any():
            t[inside], v[inside] = phase.at_distance(marks[inside])
    et = dict(zip(offsets_ft, (t - t[0]).tolist(), strict=True))
    trap_m = TRAP_FT * FOOT_M
    return StripResult(
        et_60ft_s=et[60],
        et_330ft_s=et[330],
        et_660ft_s=et[660],
        trap_660ft_kmh=3.6 * trap_m / (et[660] - et[660 - TRAP_FT]),
        et_1000ft_s=et[1000],
        et_1320ft_s=et[1320],
        trap_1320ft_kmh=3.6 * trap_m / (et[1320] - et[1320 - TRAP_FT]),
        t_0_60mph_s=_time_at(phases, _SPEED_60MPH),
        t_0_100kmh_s=_time_at(phases, _SPEED_100KMH),
        finish_speed_kmh=3.6 * float(v[-1]),
        rollout_s=float(t[0]),
        trace=trace,
    )


def _time_at(phases: list[Phase], v: float) -> float | None:
    """First time the car has this speed before the end of the strip."""
    for phase in phases:
        if isinstance(phase, Pulling) and phase.v[0] <= v <= phase.v1:
            return phase.time_at_speed(v)
    return None


def _trace(phases: list[tuple[Phase, int]]) -> StripTrace:
    parts = [(*phase.trace(), gear) for phase, gear in phases]
    return StripTrace(
        np.concatenate([p[0] for p in parts]),
        np.concatenate([p[1] for p in parts]),
        np.concatenate([p[2] for p in parts]),
        np.concatenate([np.full(p[0].size, p[3], np.int64) for p in parts]),
    )


@dataclass(frozen=True, slots=True)
class FigureChange:
    """One figure before and after, its change, and the interval of the change; None without gain samples."""

    before: float
    after: float
    change: float
    low: float | None
    high: float | None

    @property
    def resolved(self) -> bool:
        """True when the interval leaves out zero."""
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


def strip_change(
    car: StripCar,
    speed_rpm: Array,
    before_kw: Array,
    gain_kw: Array,
    *,
    air_density_kgm3: float,
    gain_samples_kw: Array | None = None,
    level: float = 0.95,
) -> Mapping[str, FigureChange]:
    """What a gain in wheel power changes about the run, by figure name.

    before_kw, gain_kw : (n,) the mean curve before and the mean gain. gain_samples_kw : (k, n) gain curves drawn from
        its uncertainty; the same run is computed with each, and the interval holds the middle `level` of the changes.
    The interval carries the dyno's uncertainty alone: car, grip and driver are the same in both runs.
    """
    base, gain = np.asarray(before_kw, float), np.asarray(gain_kw, float)

    def figures(power: Array) -> dict[str, float]:
        return simulate_strip(car, speed_rpm, power, air_density_kgm3=air_density_kgm3).figures()

    before, after = figures(base), figures(base + gain)
    spread: dict[str, Array] = {}
    if gain_samples_kw is not None:
        samples = _samples(gain_samples_kw, base.size)
        runs = [figures(np.maximum(base + sample, 0.0)) for sample in samples]
        common = set(before).intersection(after, *runs)
        tail = (1 - level) / 2
        spread = {n: np.quantile([r[n] - before[n] for r in runs], [tail, 1 - tail]) for n in common}
    return {
        name: FigureChange(
            before[name],
            after[name],
            after[name] - before[name],
            *(map(float, spread[name]) if name in spread else (None, None)),
        )
        for name in before
        if name in after
    }


def _samples(gain_samples_kw: Array, points: int) -> Array:
    samples = np.asarray(gain_samples_kw, float)
    if samples.ndim != 2 or samples.shape[1] != points or samples.shape[0] < 20:
        raise BadInput("At least 20 sampled gain curves on the same engine speeds are needed.", field="gain_samples_kw")
    return samples
