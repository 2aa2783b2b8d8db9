"""Charging, limiters and the air path of spark-ignition engines."""

from seed_data import shapes as s
from seed_data.petrol_engine import Petrol
from seed_data.tables import Axis, Table


def boost_tables(engine: Petrol, peak: float, speed: Axis, load: Axis) -> list[Table]:
    """Charge pressure targets and limits; `peak` is the largest absolute pressure asked for, hPa."""
    top = engine.full_load_percent
    by_speed = [
        (600, 1015),
        (1400, 0.62 * peak),
        (2000, 0.9 * peak),
        (2600, peak),
        (4500, peak),
        (5500, 0.95 * peak),
        (engine.redline_rpm, 0.87 * peak),
    ]

    def target(rpm: float, percent: float) -> float:
        full = max(s.rounded([(float(a), float(b)) for a, b in by_speed], rpm), 1015.0)
        part = s.along([(0, 0), (top * 0.45, 0.02), (top, 1.0)], percent)
        return 1015.0 + (full - 1015.0) * part

    ambient = Axis("axis_ambient", "Ambient pressure", s.PRESSURE, (600, 700, 800, 900, 950, 1013))
    intake = Axis("axis_charge_air", "Charge air temperature", s.TEMPERATURE, (20, 40, 50, 60, 70, 80))
    ratio = Axis("axis_pressure_ratio", "Pressure ratio", s.RATIO, (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.4, 2.6))
    return [
        Table(
            "boost_target",
            "Boost pressure asked for, absolute",
            "boost",
            "charging",
            s.PRESSURE,
            target,
            speed,
            load,
        ),
        Table(
            "boost_limit_ambient",
            "Largest pressure ratio by ambient pressure",
            "boost",
            "charging",
            s.RATIO,
            s.over_x((600, 2.75), (800, 2.6), (1013, peak * 1.08 / 1013.0)),
            ambient,
        ),
        Table(
            "boost_limit_charge_air",
            "Largest boost by charge air temperature",
            "boost",
            "charging",
            s.PRESSURE,
            s.over_x((20, peak * 1.06), (50, peak * 1.05), (70, peak * 0.93), (80, peak * 0.8)),
            intake,
        ),
        Table(
            "boost_wastegate",
            "Wastegate duty before the controller",
            "boost",
            "charging",
            s.PERCENT,
            s.total([(600, 5), (2200, 18), (4000, 30), (engine.redline_rpm, 44)], [(1.0, 0), (1.6, 18), (2.6, 46)]),
            speed,
            ratio,
        ),
        Table(
            "boost_integral_limit",
            "Largest share of the integral part",
            "boost",
            "charging",
            s.PERCENT,
            s.over_x((600, 4), (2600, 16), (engine.redline_rpm, 12)),
            speed,
        ),
        Table(
            "boost_fault_threshold",
            "Overboost that sets a fault",
            "limiter",
            "limits",
            s.PRESSURE,
            s.over_x((600, 1400), (2600, peak * 1.13), (engine.redline_rpm, peak * 1.1)),
            speed,
        ),
    ]


def limiters_tables(engine: Petrol) -> list[Table]:
    """Engine speed and vehicle speed limits."""
    gear = Axis("axis_gear_limit", "Gear engaged", s.GEAR, (1, 2, 3, 4, 5, 6))
    red = engine.redline_rpm
    return [
        Table(
            "limiter_engine_speed_hard",
            "Engine speed at which fuel is cut",
            "limiter",
            "limits",
            s.SPEED,
            s.constant(red),
        ),
        Table(
            "limiter_engine_speed_soft",
            "Engine speed at which torque is reduced",
            "limiter",
            "limits",
            s.SPEED,
            s.constant(red - 150),
        ),
        Table(
            "limiter_engine_speed_gear",
            "Engine speed limit by gear",
            "limiter",
            "limits",
            s.SPEED,
            s.over_x((1, red - 100), (3, red), (6, red)),
            gear,
        ),
        Table(
            "limiter_vehicle_speed",
            "Vehicle speed at which torque is reduced",
            "limiter",
            "limits",
            s.ROAD_SPEED,
            s.constant(engine.top_speed_kmh),
        ),
        Table(
            "limiter_stationary_speed",
            "Engine speed limit with the car standing",
            "limiter",
            "limits",
            s.SPEED,
            s.constant(4000.0),
        ),
    ]


def other_tables(speed: Axis, load: Axis, engine: Petrol) -> list[Table]:
    """Cam phases, idle and fan."""
    top = engine.full_load_percent
    coolant = Axis("axis_coolant_warm", "Coolant temperature", s.TEMPERATURE, (-30, -10, 0, 20, 40, 70, 90))
    return [
        Table(
            "cam_intake_target",
            "Intake cam phase",
            "other",
            "air_path",
            s.ANGLE,
            s.product(
                [(600, 0.1), (1800, 0.9), (3500, 1.0), (engine.redline_rpm, 0.25)],
                [(0, 4), (top * 0.4, 28), (top, 34)],
            ),
            speed,
            load,
        ),
        Table(
            "cam_exhaust_target",
            "Exhaust cam phase",
            "other",
            "air_path",
            s.ANGLE,
            s.product([(600, 0.1), (2200, 1.0), (engine.redline_rpm, 0.2)], [(0, 3), (top * 0.5, 22), (top, 12)]),
            speed,
            load,
        ),
        Table(
            "idle_speed",
            "Idle speed",
            "other",
            "air_path",
            s.SPEED,
            s.over_x((-30, 1250), (20, 980), (90, 700)),
            coolant,
        ),
        Table(
            "fan_on_temperature",
            "Coolant temperature at which the fan starts",
            "other",
            "air_path",
            s.TEMPERATURE,
            s.constant(98.0),
        ),
    ]
