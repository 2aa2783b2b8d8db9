"""Table sets of an automatic transmission's unit and of the electric part of a hybrid engine's unit."""

from seed_data import shapes as s
from seed_data.tables import Axis, Fill, Table


def transmission_tables(gears: int, peak_torque_nm: float) -> tuple[Table, ...]:
    """Shift lines, pressures and limits of an automatic transmission with a lock-up clutch."""
    pedal = Axis("axis_pedal", "Accelerator pedal", s.PEDAL, (0, 10, 20, 30, 45, 60, 75, 90, 100))
    gear = Axis("axis_gear", "Gear engaged", s.GEAR, tuple(float(g) for g in range(1, gears)))
    all_gears = Axis("axis_all_gears", "Gear engaged", s.GEAR, tuple(float(g) for g in range(1, gears + 1)))
    torque = Axis("axis_torque", "Input torque", s.TORQUE, tuple(round(peak_torque_nm * p / 8, 1) for p in range(9)))

    def shift_line(scale: float) -> Fill:
        return lambda at, g: scale * (6.0 + 9.0 * g + 0.7 * g * g) * s.rounded([(0, 1.0), (45, 1.5), (100, 2.2)], at)

    return (
        Table(
            "shift_up_normal",
            "Speed at which the next gear is taken, normal",
            "transmission",
            "shift_lines",
            s.ROAD_SPEED,
            shift_line(1.0),
            pedal,
            gear,
        ),
        Table(
            "shift_up_sport",
            "Speed at which the next gear is taken, sport",
            "transmission",
            "shift_lines",
            s.ROAD_SPEED,
            shift_line(1.28),
            pedal,
            gear,
        ),
        Table(
            "shift_down_normal",
            "Speed at which the gear below is taken, normal",
            "transmission",
            "shift_lines",
            s.ROAD_SPEED,
            shift_line(0.72),
            pedal,
            gear,
        ),
        Table(
            "shift_down_sport",
            "Speed at which the gear below is taken, sport",
            "transmission",
            "shift_lines",
            s.ROAD_SPEED,
            shift_line(0.98),
            pedal,
            gear,
        ),
        Table(
            "line_pressure",
            "Line pressure by gear and torque",
            "transmission",
            "hydraulics",
            s.LINE,
            s.total(
                [(0, 420), (peak_torque_nm * 0.5, 900), (peak_torque_nm, 1550)],
                [(1, 160), (3, 40), (float(gears), 0)],
            ),
            torque,
            all_gears,
        ),
        Table(
            "shift_time",
            "Duration of the torque handover",
            "transmission",
            "hydraulics",
            s.TIME,
            s.total([(0, 380), (peak_torque_nm * 0.5, 290), (peak_torque_nm, 240)], [(1, 60), (float(gears), 0)]),
            torque,
            gear,
        ),
        Table(
            "lockup_close_speed",
            "Input speed at which the lock-up clutch closes",
            "transmission",
            "lock_up",
            s.SPEED,
            s.over_x((0, 1250), (45, 1500), (100, 2300)),
            pedal,
        ),
        Table(
            "torque_limit_gear",
            "Largest input torque by gear",
            "torque",
            "limits",
            s.TORQUE,
            s.over_x(
                (1, peak_torque_nm * 0.84),
                (2, peak_torque_nm * 0.96),
                (3, peak_torque_nm * 1.02),
                (float(gears), peak_torque_nm * 1.02),
            ),
            all_gears,
        ),
        Table(
            "torque_cut_shift",
            "Torque asked of the engine during an upshift",
            "torque",
            "limits",
            s.PERCENT,
            s.over_x((0, 96), (peak_torque_nm * 0.5, 72), (peak_torque_nm, 58)),
            torque,
        ),
        Table("limiter_input_speed", "Largest input speed", "limiter", "limits", s.SPEED, s.constant(6700.0)),
        Table(
            "limiter_oil_temperature",
            "Oil temperature at which torque is reduced",
            "limiter",
            "limits",
            s.TEMPERATURE,
            s.constant(128.0),
        ),
    )


def hybrid_tables() -> tuple[Table, ...]:
    """Electric assistance as the engine's unit asks for it."""
    charge = Axis("axis_charge", "State of charge", s.PERCENT, (20, 30, 40, 50, 60, 70, 80))
    speed = Axis("axis_assist_speed", "Engine speed", s.SPEED, (800, 1500, 2500, 3500, 4500, 6000))
    road = Axis("axis_road_speed", "Vehicle speed", s.ROAD_SPEED, (0, 30, 60, 90, 120, 150, 180))
    return (
        Table(
            "assist_torque",
            "Electric torque asked for at full pedal",
            "torque",
            "electric_assist",
            s.TORQUE,
            s.product([(20, 0.1), (40, 0.85), (80, 1.0)], [(800, 118), (2500, 104), (6000, 42)]),
            charge,
            speed,
        ),
        Table(
            "assist_power_limit",
            "Largest electric power by vehicle speed",
            "limiter",
            "electric_assist",
            s.POWER,
            s.over_x((0, 22), (60, 38), (120, 38), (180, 24)),
            road,
        ),
        Table(
            "recuperation_torque",
            "Largest braking torque of the machine",
            "torque",
            "electric_assist",
            s.TORQUE,
            s.product([(20, -1.0), (60, -0.9), (80, -0.15)], [(800, 60), (2500, 88), (6000, 46)]),
            charge,
            speed,
        ),
    )
