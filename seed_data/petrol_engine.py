"""What sets one spark-ignition engine's tables apart from another's."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Petrol:
    """What the table shapes of one engine follow."""

    peak_torque_nm: float
    redline_rpm: float
    top_speed_kmh: float
    boost_peak_hpa: float | None
    full_load_nm: tuple[tuple[float, float], ...]
    full_load_percent: float
    shared_axes: bool
    byte_angles: bool = False
