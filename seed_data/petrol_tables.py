"""Table sets of spark-ignition engines, with and without a turbocharger."""

from seed_data import shapes as s
from seed_data.petrol_engine import Petrol
from seed_data.petrol_guards import boost_tables, limiters_tables, other_tables
from seed_data.tables import Axis, Fill, Table


def petrol_tables(engine: Petrol) -> tuple[Table, ...]:
    """The engine's tables in the order they lie in its calibration area."""
    usual = (600, 1000, 1400, 1800, 2200, 2600, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6400)
    speeds = tuple(float(rpm) for rpm in usual if rpm < engine.redline_rpm - 100)
    speed = Axis("axis_engine_speed", "Engine speed", s.SPEED, (*speeds, engine.redline_rpm), engine.shared_axes)
    top = engine.full_load_percent
    loads = tuple(round(top * part, 1) for part in (0.08, 0.15, 0.22, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.96, 1.0))
    load = Axis("axis_relative_load", "Relative cylinder charge", s.LOAD, loads, engine.shared_axes)
    tables = [*_demand(engine, speed), *_torque(engine, speed, load), *_ignition(engine, speed, load)]
    tables += _fuel(engine, speed, load)
    if engine.boost_peak_hpa is not None:
        tables += boost_tables(engine, engine.boost_peak_hpa, speed, load)
    return (*tables, *limiters_tables(engine), *other_tables(speed, load, engine))


def _pedal() -> Axis:
    return Axis("axis_pedal", "Accelerator pedal", s.PEDAL, (0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100))


def _demand(engine: Petrol, speed: Axis) -> list[Table]:
    def surface(exponent: float) -> Fill:
        def fill(pedal: float, rpm: float) -> float:
            part = pedal / 100.0
            bent = part * (exponent + (1.0 - exponent) * part)
            full = s.rounded(list(engine.full_load_nm), rpm)
            drag = -28.0 * (1.0 - part) * rpm / engine.redline_rpm
            return full * bent + drag

        return fill

    slow = Axis(
        "axis_demand_speed",
        "Engine speed",
        s.SPEED,
        (800, 1200, 1600, 2000, 2500, 3000, 3500, 4000, 5000, 6000),
    )
    pedal = _pedal()
    return [
        Table(
            "demand_normal",
            "Torque asked for by the pedal, normal mode",
            "driver demand",
            "driver_demand",
            s.TORQUE,
            surface(0.75),
            pedal,
            slow,
        ),
        Table(
            "demand_sport",
            "Torque asked for by the pedal, sport mode",
            "driver demand",
            "driver_demand",
            s.TORQUE,
            surface(1.35),
            pedal,
            slow,
        ),
        Table(
            "demand_reverse",
            "Torque asked for by the pedal, reverse gear",
            "driver demand",
            "driver_demand",
            s.TORQUE,
            lambda x, y: 0.6 * surface(0.6)(x, y),
            pedal,
            slow,
        ),
        Table(
            "demand_filter_time",
            "Time constant of the demand filter",
            "driver demand",
            "driver_demand",
            s.TIME,
            s.over_x((0, 220), (30, 140), (100, 45)),
            pedal,
        ),
    ]


def _torque(engine: Petrol, speed: Axis, load: Axis) -> list[Table]:
    peak = engine.peak_torque_nm
    full = [(rpm, 1.04 * nm) for rpm, nm in engine.full_load_nm]
    gear = Axis("axis_gear", "Gear engaged", s.GEAR, (1, 2, 3, 4, 5, 6))
    coarse = Axis("axis_gear_speed", "Engine speed", s.SPEED, (1000, 2000, 3000, 4000, 5000, 6000))
    coolant = Axis("axis_coolant", "Coolant temperature", s.TEMPERATURE, (-20, 0, 20, 60, 90, 105, 112, 118))
    torque = Axis("axis_torque", "Indicated torque", s.TORQUE, tuple(round(peak * p / 10, 1) for p in range(1, 12)))
    per_nm = engine.full_load_percent / (1.05 * peak)

    def fill_of_torque(rpm: float, nm: float) -> float:
        return nm * per_nm * (1.0 + 0.06 * ((rpm - 3200.0) / 3200.0) ** 2)

    def torque_of_fill(rpm: float, percent: float) -> float:
        return percent / per_nm / (1.0 + 0.06 * ((rpm - 3200.0) / 3200.0) ** 2)

    return [
        Table(
            "torque_limit_engine",
            "Largest torque the engine may give",
            "torque",
            "torque_structure",
            s.TORQUE,
            s.over_x(*full),
            speed,
        ),
        Table(
            "torque_limit_gear",
            "Largest torque by gear",
            "torque",
            "torque_structure",
            s.TORQUE,
            lambda g, rpm: s.along(full, rpm) * s.along([(1, 0.82), (2, 0.95), (3, 1.02), (6, 1.02)], g),
            gear,
            coarse,
        ),
        Table(
            "torque_limit_coolant",
            "Share of torque by coolant temperature",
            "torque",
            "torque_structure",
            s.PERCENT,
            s.over_x((-20, 82), (20, 100), (105, 100), (112, 85), (118, 55)),
            coolant,
        ),
        Table(
            "torque_to_load",
            "Cylinder charge that a torque needs",
            "torque",
            "torque_structure",
            s.LOAD,
            fill_of_torque,
            speed,
            torque,
        ),
        Table(
            "load_to_torque",
            "Torque that a cylinder charge gives",
            "torque",
            "torque_structure",
            s.TORQUE,
            torque_of_fill,
            speed,
            load,
        ),
        Table(
            "torque_loss_friction",
            "Drag of the engine",
            "torque",
            "torque_structure",
            s.TORQUE,
            s.total([(600, 14), (3000, 21), (engine.redline_rpm, 46)], [(-20, 22), (20, 9), (90, 0), (118, 1)]),
            speed,
            coolant,
        ),
    ]


def _ignition(engine: Petrol, speed: Axis, load: Axis) -> list[Table]:
    scale = s.ANGLE_BYTE if engine.byte_angles else s.ANGLE
    top = engine.full_load_percent
    boosted = engine.boost_peak_hpa is not None
    drop = 26.0 if boosted else 14.0

    def base(rpm: float, percent: float) -> float:
        by_speed = s.rounded([(600, 12), (1400, 21), (2600, 30), (4500, 36), (engine.redline_rpm, 38)], rpm)
        part = percent / top
        advance = by_speed + 4.0 - drop * part * part - 3.0 * part * (1.0 if rpm < 2200 else 2200.0 / rpm)
        return max(advance, -8.0)

    intake = Axis("axis_intake", "Intake air temperature", s.TEMPERATURE, (-20, 0, 20, 35, 45, 55, 65, 80))
    return [
        Table(
            "ignition_base",
            "Ignition advance before top dead centre",
            "ignition",
            "ignition",
            scale,
            base,
            speed,
            load,
        ),
        Table(
            "ignition_knock_limit",
            "Advance above which knock is expected",
            "ignition",
            "ignition",
            scale,
            lambda x, y: base(x, y) + s.along([(0, 6), (top * 0.5, 3), (top, 0.75)], y),
            speed,
            load,
        ),
        Table(
            "ignition_cool_fuel",
            "Advance with fuel of high knock resistance",
            "ignition",
            "ignition",
            scale,
            lambda x, y: base(x, y) + s.along([(0, 0), (top * 0.5, 0.75), (top, 2.25)], y),
            speed,
            load,
        ),
        Table(
            "ignition_intake_correction",
            "Advance correction by intake temperature",
            "ignition",
            "ignition",
            scale,
            s.over_x((-20, 1.5), (20, 0), (45, -1.5), (65, -5.25), (80, -9)),
            intake,
        ),
        Table(
            "ignition_idle",
            "Advance at idle by coolant temperature",
            "ignition",
            "ignition",
            scale,
            s.over_x((-20, 4), (20, 6), (90, 11)),
            Axis("axis_coolant_idle", "Coolant temperature", s.TEMPERATURE, (-20, 0, 20, 50, 90)),
        ),
    ]


def _fuel(engine: Petrol, speed: Axis, load: Axis) -> list[Table]:
    top, boosted = engine.full_load_percent, engine.boost_peak_hpa is not None
    rich = 0.845 if boosted else 0.895

    def full_load(rpm: float, percent: float) -> float:
        start = s.rounded([(600, 1.0), (2600, 1.0), (4500, (1 + rich) / 2), (engine.redline_rpm, rich)], rpm)
        return s.rounded([(0, 1.0), (top * 0.7, 1.0), (top, start)], percent)

    exhaust = Axis("axis_exhaust", "Exhaust temperature", s.EXHAUST, (750, 800, 840, 870, 900, 930, 960))
    volts = Axis("axis_supply", "Supply voltage", s.VOLTAGE, (7, 8, 9, 10, 11, 12, 13, 14, 15))
    coolant = Axis("axis_start", "Coolant temperature at start", s.TEMPERATURE, (-30, -20, -10, 0, 20, 40, 90))
    rail = 200.0 if boosted else 4.2
    return [
        Table(
            "fuel_lambda_full_load",
            "Lambda asked for by speed and charge",
            "fuel",
            "mixture",
            s.LAMBDA,
            full_load,
            speed,
            load,
        ),
        Table(
            "fuel_component_protection",
            "Lambda asked for to cool exhaust parts",
            "fuel",
            "mixture",
            s.LAMBDA,
            s.total(
                [(600, 1.0), (4000, 0.98), (engine.redline_rpm, 0.94)],
                [(750, 0), (840, -0.01), (900, -0.09), (960, -0.17)],
            ),
            speed,
            exhaust,
        ),
        Table(
            "fuel_injector_dead_time",
            "Opening delay of the injectors",
            "fuel",
            "mixture",
            s.TIME,
            lambda x, y: 0.25 + 9.5 / (x * x / 10.0),
            volts,
        ),
        Table(
            "fuel_rail_target",
            "Fuel rail pressure asked for",
            "fuel",
            "mixture",
            s.RAIL,
            s.total(
                [(600, rail * 0.3), (3000, rail * 0.45), (engine.redline_rpm, rail * 0.5)],
                [(0, 0), (top * 0.5, rail * 0.3), (top, rail * 0.5)],
            ),
            speed,
            load,
        ),
        Table(
            "fuel_start_enrichment",
            "Enrichment at start",
            "fuel",
            "mixture",
            s.RATIO,
            s.over_x((-30, 4.2), (-10, 2.9), (20, 1.7), (90, 1.15)),
            coolant,
        ),
    ]
