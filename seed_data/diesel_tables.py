"""Table set of a turbocharged compression-ignition engine."""

from seed_data import shapes as s
from seed_data.tables import Axis, Table


def diesel_tables(peak_torque_nm: float, boost_peak_hpa: float, top_speed_kmh: float) -> tuple[Table, ...]:
    """The engine's tables in the order they lie in its calibration area."""
    speed = Axis(
        "axis_speed",
        "Engine speed",
        s.SPEED,
        (700, 1000, 1250, 1500, 1750, 2000, 2500, 3000, 3500, 4000, 4500),
    )
    dose = Axis("axis_quantity", "Injected quantity per stroke", s.QUANTITY, (5, 10, 15, 20, 27, 34, 41, 48, 56, 64))
    return (
        *_quantity(peak_torque_nm, speed, dose),
        *_air(boost_peak_hpa, speed, dose),
        *_guards(speed, top_speed_kmh),
    )


def _quantity(peak: float, speed: Axis, dose: Axis) -> list[Table]:
    pedal = Axis("axis_pedal", "Accelerator pedal", s.PEDAL, (0, 5, 10, 20, 35, 50, 65, 80, 100))
    full = [
        (700.0, 0.52 * peak),
        (1250.0, 0.78 * peak),
        (1600.0, peak),
        (2600.0, peak),
        (3600.0, 0.78 * peak),
        (4500.0, 0.42 * peak),
    ]
    torque = Axis("axis_torque", "Indicated torque", s.TORQUE, tuple(round(peak * p / 10, 1) for p in range(1, 13)))
    per_nm = 58.0 / peak

    def demand(at: float, rpm: float) -> float:
        part = at / 100.0
        return s.rounded(full, rpm) * part * (1.3 - 0.3 * part) - 24.0 * (1.0 - part) * rpm / 4500.0

    return [
        Table(
            "demand_pedal",
            "Torque asked for by the pedal",
            "driver demand",
            "driver_demand",
            s.TORQUE,
            demand,
            pedal,
            speed,
        ),
        Table(
            "torque_limit_engine",
            "Largest torque the engine may give",
            "torque",
            "torque",
            s.TORQUE,
            s.over_x(*full),
            speed,
        ),
        Table(
            "torque_to_quantity",
            "Quantity that a torque needs",
            "fuel",
            "injection",
            s.QUANTITY,
            lambda rpm, nm: nm * per_nm * (1.0 + 0.1 * ((rpm - 2000.0) / 2500.0) ** 2),
            speed,
            torque,
        ),
        Table(
            "fuel_smoke_limit",
            "Smallest lambda before smoke",
            "fuel",
            "injection",
            s.LAMBDA,
            s.over_x((700, 1.42), (1500, 1.22), (2500, 1.2), (4500, 1.36)),
            speed,
        ),
        Table(
            "fuel_rail_target",
            "Rail pressure asked for",
            "fuel",
            "injection",
            s.RAIL,
            s.total([(700, 240), (1500, 560), (2500, 950), (4500, 1150)], [(5, 0), (27, 220), (64, 470)]),
            speed,
            dose,
        ),
        Table(
            "fuel_pilot_quantity",
            "Pilot injection quantity",
            "fuel",
            "injection",
            s.QUANTITY,
            s.total([(700, 1.7), (2500, 1.1), (4500, 0.2)], [(5, 0.1), (34, 0.3), (64, 0.0)]),
            speed,
            dose,
        ),
        Table(
            "injection_start",
            "Start of main injection before top dead centre",
            "ignition",
            "injection",
            s.ANGLE,
            s.total([(700, 1.0), (2000, 5.5), (3000, 10.0), (4500, 18.5)], [(5, -1.5), (27, 1.5), (64, 5.0)]),
            speed,
            dose,
        ),
    ]


def _air(peak: float, speed: Axis, dose: Axis) -> list[Table]:
    return [
        Table(
            "boost_target",
            "Boost pressure asked for, absolute",
            "boost",
            "charging",
            s.PRESSURE,
            lambda rpm, mg: (
                1005.0
                + (peak - 1005.0)
                * s.rounded([(700, 0.05), (1500, 0.72), (2000, 1.0), (3500, 0.97), (4500, 0.78)], rpm)
                * s.rounded([(5, 0.08), (27, 0.55), (64, 1.0)], mg)
            ),
            speed,
            dose,
        ),
        Table(
            "boost_limit",
            "Largest boost pressure",
            "boost",
            "charging",
            s.PRESSURE,
            s.over_x((700, 1350), (1750, peak * 1.03), (4500, peak * 0.9)),
            speed,
        ),
        Table(
            "boost_vane_position",
            "Vane position before the controller",
            "boost",
            "charging",
            s.PERCENT,
            s.total([(700, 74), (1750, 52), (4500, 22)], [(5, 8), (64, -6)]),
            speed,
            dose,
        ),
        Table(
            "air_recirculation_mass",
            "Fresh air asked for per stroke",
            "other",
            "charging",
            s.QUANTITY,
            s.total([(700, 330), (2500, 360), (4500, 420)], [(5, 0), (27, 60), (64, 210)]),
            speed,
            dose,
        ),
    ]


def _guards(speed: Axis, top_speed_kmh: float) -> list[Table]:
    return [
        Table(
            "limiter_engine_speed",
            "Engine speed at which fuel is cut",
            "limiter",
            "limits",
            s.SPEED,
            s.constant(4600.0),
        ),
        Table(
            "limiter_vehicle_speed",
            "Vehicle speed at which torque is reduced",
            "limiter",
            "limits",
            s.ROAD_SPEED,
            s.constant(top_speed_kmh),
        ),
        Table(
            "limiter_exhaust",
            "Exhaust temperature before the turbine at which fuel is reduced",
            "limiter",
            "limits",
            s.EXHAUST,
            s.over_x((700, 760), (2000, 790), (4500, 810)),
            speed,
        ),
        Table(
            "idle_speed",
            "Idle speed",
            "other",
            "idle",
            s.SPEED,
            s.over_x((-30, 1050), (20, 850), (90, 780)),
            Axis("axis_coolant", "Coolant temperature", s.TEMPERATURE, (-30, -10, 0, 20, 50, 90)),
        ),
    ]
