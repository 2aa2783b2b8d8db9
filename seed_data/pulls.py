"""Full-load pulls on the rollers: what the engine gives, what the day takes away, what the dyno adds as noise."""

from dataclasses import dataclass
from math import sqrt

from seed_data.shapes import rounded
from seed_data.stream import normal, smooth, uniform

Points = tuple[tuple[float, float], ...]

RAD_PER_S = 0.10471975511965977  # 1 min⁻¹ in rad/s, 2π/60


@dataclass(frozen=True)
class Engine:
    """One state of one car: full-load curves over engine speed in 1/min.

    Parameters
    ----------
    torque_nm : at the crankshaft in reference air (25 °C, 990 hPa dry).
    boost_hpa : absolute pressure after the throttle, None without a charger.
    air_share : how much of the air's change reaches the torque; a controller that holds boost lets little through.
    kmh_per_1000 : road speed per 1000 1/min in the gear of the pull.
    """

    torque_nm: Points
    lambda_ratio: Points
    boost_hpa: Points | None
    start_rpm: float
    end_rpm: float
    loss: float
    air_share: float
    kmh_per_1000: float
    part_load_lambda: float = 1.02


@dataclass(frozen=True)
class Air:
    """What the weather station in the cell shows."""

    pressure_hpa: float
    temperature_c: float
    relative_humidity_percent: float

    @property
    def dry_pressure_hpa(self) -> float:
        """Pressure without water vapour; saturation by the polynomial of Lowe (1977), from memory."""
        coefficients = (
            6.107799961,
            4.436518521e-1,
            1.428945805e-2,
            2.650648471e-4,
            3.031240396e-6,
            2.034080948e-8,
            6.136820929e-11,
        )
        saturation = 0.0
        for coefficient in reversed(coefficients):
            saturation = saturation * self.temperature_c + coefficient
        return self.pressure_hpa - saturation * self.relative_humidity_percent / 100.0

    @property
    def torque_share(self) -> float:
        """Observed over reference torque of an unboosted engine: the inverse of the factor of SAE J1349 (1990)."""
        root = sqrt((self.temperature_c + 273.0) / 298.0)
        return 1.0 / (1.18 * (990.0 / self.dry_pressure_hpa) * root - 0.18)


@dataclass(frozen=True)
class Row:
    """One line of a recording, SI units."""

    time_s: float
    speed_rpm: float
    torque_nm: float
    power_kw: float
    speed_kmh: float
    lambda_ratio: float
    boost_hpa: float
    intake_c: float


@dataclass(frozen=True)
class Pull:
    """How one pull differs from the ideal one.

    Parameters
    ----------
    name : seeds the noise; no two pulls share one.
    order : 0 for the first pull of the session; heat soak grows with it.
    intake_c : intake temperature as the pull begins.
    dip : (speed, share) of a torque reduction by the traction control above that speed, or None.
    """

    name: str
    session: str
    order: int
    intake_c: float
    dip: tuple[float, float] | None = None


LEVEL_NOISE = 0.004
DAY_NOISE = 0.003
SHAPE_NOISE = 0.0025
POINT_NOISE = 0.0016
HEAT_SOAK = 0.0022

ROWS_TO_FULL_LOAD = 40
ROWS_OF_LIFT_OFF = 30


def rows_of(engine: Engine, air: Air, pull: Pull) -> list[Row]:
    """The recording from a steady start over the sweep to the lift-off, 20 lines a second."""
    speeds, loaded = _speeds(engine)
    count = len(speeds)
    white, slow = normal(f"{pull.name} white", count), smooth(f"{pull.name} slow", count, 9)
    jitter, mixture = uniform(f"{pull.name} speed", count), smooth(f"{pull.name} lambda", count, 24)
    level = _level(engine, air, pull)
    rows = []
    for k, rpm in enumerate(speeds):
        shape = 1.0 + SHAPE_NOISE * slow[k] + POINT_NOISE * white[k]
        torque = _torque(engine, pull, rpm, loaded[k]) * level * shape
        shown = round(rpm + 2.0 * jitter[k] - 1.0)
        part = loaded[k]
        lambda_ratio = rounded(list(engine.lambda_ratio), rpm) * (
            1.0 + 0.004 * mixture[k]
        ) * part + engine.part_load_lambda * (1.0 - part)
        rows.append(
            Row(
                time_s=0.05 * k,
                speed_rpm=float(shown),
                torque_nm=torque,
                power_kw=torque * shown * RAD_PER_S / 1000.0,
                speed_kmh=shown * engine.kmh_per_1000 / 1000.0,
                lambda_ratio=lambda_ratio,
                boost_hpa=_boost(engine, air, rpm, part) * (1.0 + 0.0035 * slow[-1 - k]),
                intake_c=pull.intake_c + _warming(engine) * k / count + 0.15 * white[k],
            )
        )
    return rows


def _level(engine: Engine, air: Air, pull: Pull) -> float:
    """Everything that moves the whole curve: the air, the day, the pull, the warmth of the engine bay."""
    air_effect = 1.0 + engine.air_share * (air.torque_share - 1.0)
    day = 1.0 + DAY_NOISE * normal(f"{pull.session} day", 1)[0]
    own = 1.0 + LEVEL_NOISE * normal(f"{pull.name} level", 1)[0]
    soak = 1.0 - HEAT_SOAK * pull.order * (1.0 if engine.boost_hpa else 0.5)
    return (1.0 - engine.loss) * air_effect * day * own * soak


def _speeds(engine: Engine) -> tuple[list[float], list[float]]:
    """Engine speed and share of full load, line by line: pedal down, sweep, pedal up."""
    speeds, loaded = [], []
    for k in range(ROWS_TO_FULL_LOAD):
        speeds.append(engine.start_rpm)
        loaded.append(0.25 + 0.75 * _eased(k / ROWS_TO_FULL_LOAD))
    rpm, peak = engine.start_rpm, max(nm for _, nm in engine.torque_nm)
    while rpm < engine.end_rpm:
        rpm += 15.0 + 9.0 * rounded(list(engine.torque_nm), rpm) / peak
        speeds.append(min(rpm, engine.end_rpm))
        loaded.append(1.0)
    for k in range(1, ROWS_OF_LIFT_OFF + 1):
        rpm -= 0.8 * k
        speeds.append(rpm)
        loaded.append(1.0 - 0.7 * _eased(k / ROWS_OF_LIFT_OFF))
    return speeds, loaded


def _eased(t: float) -> float:
    """0 … 1 without a kink at either end; rollers and filters do not show corners."""
    return t * t * (3.0 - 2.0 * t)


def _torque(engine: Engine, pull: Pull, rpm: float, loaded: float) -> float:
    full = rounded(list(engine.torque_nm), rpm)
    if pull.dip is not None and rpm > pull.dip[0]:
        full *= 1.0 - pull.dip[1] * min((rpm - pull.dip[0]) / 150.0, 1.0)
    return full * loaded


def _boost(engine: Engine, air: Air, rpm: float, part: float) -> float:
    ambient = air.pressure_hpa
    if engine.boost_hpa is None:
        return ambient - 18.0 * part * rpm / engine.end_rpm - 380.0 * (1.0 - part)
    return ambient + (rounded(list(engine.boost_hpa), rpm) - 1013.0) * part


def _warming(engine: Engine) -> float:
    return 9.0 if engine.boost_hpa else 2.5
