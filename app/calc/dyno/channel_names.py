"""How the channels of a pull are named to people, and the quantity of each.

The unit a channel is kept in is the first of its quantity in `app.calc.units.UNITS_OF`.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ChannelName:
    """A channel's name on screens and its quantity."""

    label: str
    quantity: str


CHANNEL_NAMES: dict[str, ChannelName] = {
    "engine_speed_rpm": ChannelName("Engine speed", "engine speed"),
    "power_kw": ChannelName("Power", "power"),
    "torque_nm": ChannelName("Torque", "torque"),
    "lambda_": ChannelName("Lambda", "lambda"),
    "air_fuel_ratio": ChannelName("Air-fuel ratio", "air-fuel ratio"),
    "boost_hpa": ChannelName("Boost", "pressure"),
    "manifold_pressure_hpa": ChannelName("Manifold pressure, absolute", "pressure"),
    "knock_retard_deg": ChannelName("Knock retard", "angle"),
    "ignition_advance_deg": ChannelName("Ignition advance", "angle"),
    "exhaust_temperature_c": ChannelName("Exhaust temperature", "temperature"),
    "intake_temperature_c": ChannelName("Intake air temperature", "temperature"),
    "coolant_temperature_c": ChannelName("Coolant temperature", "temperature"),
    "oil_temperature_c": ChannelName("Oil temperature", "temperature"),
    "air_temperature_c": ChannelName("Ambient temperature", "temperature"),
    "fuel_pressure_hpa": ChannelName("Fuel pressure", "pressure"),
    "air_pressure_hpa": ChannelName("Ambient pressure", "pressure"),
    "humidity_percent": ChannelName("Relative humidity", "ratio"),
    "throttle_percent": ChannelName("Throttle or pedal", "ratio"),
    "load_percent": ChannelName("Engine load", "ratio"),
    "battery_voltage_v": ChannelName("Battery voltage", "voltage"),
    "state_of_charge_percent": ChannelName("State of charge", "ratio"),
    "vehicle_speed_kmh": ChannelName("Road speed", "vehicle speed"),
    "roller_speed_rpm": ChannelName("Roller speed", "engine speed"),
    "loss_power_kw": ChannelName("Loss power", "power"),
    "time_s": ChannelName("Time", "time"),
}

# What limits are set for: everything that is measured in a pull, without the axes of the pull itself.
LIMITABLE = tuple(name for name in CHANNEL_NAMES if name not in ("time_s", "roller_speed_rpm", "loss_power_kw"))


def channel_label(name: str) -> str:
    """The channel's name on screens; an unknown one as it is written.

    >>> channel_label("exhaust_temperature_c")
    'Exhaust temperature'
    """
    known = CHANNEL_NAMES.get(name)
    return name.replace("_", " ").strip() if known is None else known.label
