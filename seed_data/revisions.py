"""What the two tuners changed, revision by revision."""

from seed_data import catalogue
from seed_data.editing import Calibration, above, within


def astrel_first() -> Calibration:
    """More boost in the middle of the range, with the limits that stand in its way moved along."""
    car = Calibration(catalogue.astrel_engine())

    def more_boost(rpm: float, load: float, value: float) -> float:
        return value + 170.0 * within(rpm, 1700, 2400, 4600, 6200) * above(load, 110, 180)

    car = car.edited("boost_target", more_boost)
    car = car.edited("boost_limit_ambient", lambda x, y, v: v * (1.0 + 0.08 * above(x, 850, 1000)))
    car = car.edited("boost_limit_charge_air", lambda x, y, v: v + 160.0 * (1.0 - above(x, 60, 75)))
    car = car.edited("boost_fault_threshold", lambda x, y, v: v + 190.0 * within(x, 1500, 2400, 5500, 7000))
    car = car.edited("torque_limit_engine", lambda x, y, v: v * (1.0 + 0.13 * within(x, 1700, 2300, 4800, 6400)))
    car = car.edited("torque_limit_gear", lambda x, y, v: v * (1.0 + 0.13 * above(x, 2, 3) * above(y, 1500, 2500)))
    car = car.edited("demand_normal", lambda x, y, v: v + 44.0 * above(x, 65, 100) * within(y, 1500, 2200, 5000, 6500))
    car = car.edited("ignition_base", lambda x, y, v: v - 1.2 * within(x, 1800, 2600, 4600, 5600) * above(y, 130, 185))
    return car.edited("fuel_lambda_full_load", lambda x, y, v: v - 0.018 * above(x, 3200, 4800) * above(y, 140, 190))


def astrel_second() -> Calibration:
    """Ignition given back where the fuel allows it."""
    car = astrel_first()
    car = car.edited("ignition_base", lambda x, y, v: v + 1.5 * above(x, 3000, 4200) * above(y, 120, 170))
    car = car.edited("ignition_cool_fuel", lambda x, y, v: v + 1.1 * above(x, 3000, 4200) * above(y, 120, 170))
    return car.edited("ignition_intake_correction", lambda x, y, v: v - 0.75 * above(x, 40, 60))


def astrel_third() -> Calibration:
    """The other branch: boost held to the end of the range."""
    car = astrel_first()
    car = car.edited("boost_target", lambda x, y, v: v + 210.0 * above(x, 4400, 5400) * above(y, 130, 185))
    car = car.edited("boost_wastegate", lambda x, y, v: v - 6.0 * above(x, 4400, 5600) * above(y, 1.8, 2.2))
    return car.edited("boost_fault_threshold", lambda x, y, v: v + 150.0 * above(x, 4400, 5600))


def astrel_fourth() -> Calibration:
    """Response from low speed, a moved breakpoint, two limiters, and twelve bytes that no table describes."""
    car = astrel_second()
    car = car.edited("boost_wastegate", lambda x, y, v: v - 4.5 * (1.0 - above(x, 2200, 3000)) * above(y, 1.2, 1.6))
    car = car.with_breakpoint("boost_wastegate", 8, 2.75)
    car = car.edited("boost_integral_limit", lambda x, y, v: v + 2.0 * within(x, 1000, 1800, 2600, 3500))
    car = car.edited("demand_sport", lambda x, y, v: v + 26.0 * within(x, 25, 50, 70, 101) * above(y, 1200, 2000))
    car = car.edited("limiter_engine_speed_hard", lambda x, y, v: v + 150.0)
    car = car.edited("limiter_engine_speed_soft", lambda x, y, v: v + 150.0)
    cells = {cell: 9000 + 37 * cell for cell in range(41, 47)}
    return car.with_hidden("hidden 4", cells)


def astrel_fifth() -> Calibration:
    """A step back for winter fuel: a little less ignition, a little richer."""
    car = astrel_fourth()
    car = car.edited("ignition_base", lambda x, y, v: v - 0.75 * within(x, 2400, 3200, 5000, 6500) * above(y, 150, 185))
    return car.edited("fuel_lambda_full_load", lambda x, y, v: v - 0.008 * above(x, 3600, 5200) * above(y, 150, 190))


def lanner_first() -> Calibration:
    """An engine without a charger: ignition, cam phase and mixture at full load."""
    car = Calibration(catalogue.lanner_engine())
    car = car.edited("ignition_base", lambda x, y, v: v + 1.9 * within(x, 2400, 3600, 6000, 7400) * above(y, 55, 80))
    car = car.edited("ignition_cool_fuel", lambda x, y, v: v + 1.5 * above(x, 3000, 4200) * above(y, 60, 85))
    car = car.edited(
        "cam_intake_target", lambda x, y, v: v + 3.0 * within(x, 3200, 4400, 5600, 6800) * above(y, 40, 70)
    )
    car = car.edited("fuel_lambda_full_load", lambda x, y, v: v - 0.012 * above(x, 3500, 5500) * above(y, 65, 90))
    car = car.edited("torque_limit_engine", lambda x, y, v: v + 14.0 * above(x, 2500, 4500))
    return car.edited("limiter_engine_speed_hard", lambda x, y, v: v + 100.0)


def hauler_first() -> Calibration:
    """Torque for towing: quantity, air and rail pressure raised together."""
    car = Calibration(catalogue.hauler_engine())
    car = car.edited("torque_limit_engine", lambda x, y, v: v * (1.0 + 0.165 * within(x, 1000, 1750, 3000, 4600)))
    car = car.edited("boost_target", lambda x, y, v: v + 130.0 * within(x, 1250, 2000, 3500, 4600) * above(y, 34, 56))
    car = car.edited("boost_limit", lambda x, y, v: v + 140.0 * above(x, 1250, 2000))
    car = car.edited("fuel_rail_target", lambda x, y, v: v + 55.0 * above(x, 1500, 2500) * above(y, 34, 56))
    car = car.edited("fuel_smoke_limit", lambda x, y, v: v - 0.05 * within(x, 1000, 1750, 3000, 4600))
    return car.edited("injection_start", lambda x, y, v: v + 0.6 * above(x, 1750, 2500) * above(y, 41, 56))


def sirrus_first() -> Calibration:
    """Electric assistance held longer, and ignition for better fuel."""
    car = Calibration(catalogue.sirrus_engine())
    car = car.edited("assist_torque", lambda x, y, v: v + 14.0 * above(x, 35, 50) * within(y, 1000, 2000, 4500, 6500))
    car = car.edited("assist_power_limit", lambda x, y, v: v + 4.0 * within(x, 40, 60, 130, 170))
    return car.edited("ignition_base", lambda x, y, v: v + 1.4 * within(x, 2200, 3200, 5400, 6500) * above(y, 55, 80))


def warder_engine_first() -> Calibration:
    """For the closed course: torque up, and the road speed limiter set as high as its cell allows."""
    car = Calibration(catalogue.warder_engine())
    car = car.edited("boost_target", lambda x, y, v: v + 120.0 * within(x, 1600, 2400, 5000, 6600) * above(y, 110, 170))
    car = car.edited("boost_limit_ambient", lambda x, y, v: v * (1.0 + 0.06 * above(x, 850, 1000)))
    car = car.edited("torque_limit_engine", lambda x, y, v: v * (1.0 + 0.1 * within(x, 1600, 2400, 5000, 6700)))
    car = car.edited("torque_limit_gear", lambda x, y, v: v * (1.0 + 0.1 * above(x, 2, 3)))
    car = car.edited("ignition_base", lambda x, y, v: v - 0.8 * within(x, 2000, 2800, 5000, 6400) * above(y, 130, 175))
    return car.edited("limiter_vehicle_speed", lambda x, y, v: 655.35)


def warder_transmission_first() -> Calibration:
    """What the transmission must bear with it: torque limit, line pressure, quicker handover."""
    car = Calibration(catalogue.warder_transmission())
    car = car.edited("torque_limit_gear", lambda x, y, v: v * (1.0 + 0.09 * above(x, 1.5, 3)))
    car = car.edited("line_pressure", lambda x, y, v: v + 110.0 * above(x, 300, 500))
    car = car.edited("shift_time", lambda x, y, v: v * (1.0 - 0.14 * above(x, 200, 400)))
    return car.edited("shift_up_sport", lambda x, y, v: v + 4.0 * above(x, 60, 90))
