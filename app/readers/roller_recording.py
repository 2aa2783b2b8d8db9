"""Reads what an inertia dyno records of one pull or one coast-down: time and how fast the roller turns."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput
from app.readers.dyno_columns import ColumnProfile
from app.readers.dyno_file import read_dyno_file

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RollerRecording:
    """One recording, each (n,), in order of time; engine speed only where the file has it. `road_speed_measured`: the
    file told road speed, not how fast the roller turns."""

    time_s: Values
    omega_rad_s: Values
    engine_speed_rpm: Values | None
    road_speed_measured: bool = False


def read_roller_recording(data: bytes, *, radius_m: float, profile: ColumnProfile | None = None) -> RollerRecording:
    """Time and angular speed of the roller; a road speed is turned into it by the roller's radius.

    Raises BadInput when the file holds several recordings, no time, or neither roller speed nor road speed.
    """
    if not radius_m > 0:
        raise BadInput("The roller's radius must be above 0.", field="radius")
    file = read_dyno_file(data, profile=profile)
    if len(file.pulls) != 1:
        raise BadInput(f"The file holds {len(file.pulls)} pulls; give one pull in a file.")
    channels = file.pulls[0].channels
    time = channels.get("time_s")
    if time is None:
        raise BadInput("No column of time was recognised; name it 'time [s]'.")
    if "roller_speed_rpm" in channels:
        omega = channels["roller_speed_rpm"] * pi / 30
    elif "vehicle_speed_kmh" in channels:
        omega = channels["vehicle_speed_kmh"] / 3.6 / radius_m
    else:
        raise BadInput("No roller speed or road speed was recognised; name it 'roller speed [rpm]'.")
    engine = channels.get("engine_speed_rpm")
    whole = np.isfinite(time) & np.isfinite(omega)
    if engine is not None:
        whole &= np.isfinite(engine)
    measured = "roller_speed_rpm" not in channels
    return RollerRecording(time[whole], omega[whole], None if engine is None else engine[whole], measured)
