"""Curves and surfaces that calibration tables are drawn from, and the scales they are stored in.

Only + − × ÷ are used, so that a cell rounds to the same raw value on every machine.
"""

from itertools import pairwise

from seed_data.tables import Fill, Scale

SPEED = Scale("speed_rpm", "1/min", "u16", 0.25, decimals=0)
LOAD = Scale("load_percent", "%", "u16", 0.01, decimals=1)
PERCENT = Scale("percent", "%", "u16", 0.01, decimals=1)
PEDAL = Scale("pedal_percent", "%", "u16", 0.01, decimals=1)
TORQUE = Scale("torque_nm", "N·m", "s16", 0.1, decimals=1)
PRESSURE = Scale("pressure_hpa", "hPa", "u16", 0.1, decimals=0)
RATIO = Scale("ratio", "-", "u16", 0.0001220703125, decimals=3)
ANGLE = Scale("angle_deg", "°CA", "s16", 0.05, decimals=2)
ANGLE_BYTE = Scale("angle_byte_deg", "°CA", "u8", 0.375, -30.0, decimals=2)
LAMBDA = Scale("lambda_ratio", "-", "u16", 0.000244140625, decimals=3)
TEMPERATURE = Scale("temperature_c", "°C", "s16", 0.1, decimals=0)
EXHAUST = Scale("exhaust_c", "°C", "u16", 0.1, decimals=0)
ROAD_SPEED = Scale("road_speed_kmh", "km/h", "u16", 0.01, decimals=1)
TIME = Scale("time_ms", "ms", "u16", 0.01, decimals=2)
VOLTAGE = Scale("voltage_v", "V", "u16", 0.001, decimals=1)
QUANTITY = Scale("quantity_mg", "mg", "u16", 0.01, decimals=2)
RAIL = Scale("rail_bar", "bar", "u16", 0.05, decimals=0)
LINE = Scale("line_kpa", "kPa", "u16", 0.1, decimals=0)
GEAR = Scale("gear_number", "-", "u16", 1.0, decimals=0)
POWER = Scale("power_kw", "kW", "s16", 0.01, decimals=2)


def along(points: list[tuple[float, float]], x: float) -> float:
    """Straight lines through `points` (rising x), held at both ends."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


def rounded(points: list[tuple[float, float]], x: float) -> float:
    """A smooth curve through `points`: cubic Hermite with slopes limited so that it never overshoots."""
    if x <= points[0][0]:
        return points[0][1]
    if x >= points[-1][0]:
        return points[-1][1]
    k = next(i for i in range(len(points) - 1) if x <= points[i + 1][0])
    (x0, y0), (x1, y1) = points[k], points[k + 1]
    step = x1 - x0
    t = (x - x0) / step
    m0, m1 = _slope(points, k) * step, _slope(points, k + 1) * step
    t2, t3 = t * t, t * t * t
    return y0 * (2 * t3 - 3 * t2 + 1) + m0 * (t3 - 2 * t2 + t) + y1 * (3 * t2 - 2 * t3) + m1 * (t3 - t2)


def _slope(points: list[tuple[float, float]], k: int) -> float:
    """Harmonic mean of the neighbouring slopes, zero at ends and turning points."""
    if k in (0, len(points) - 1):
        return 0.0
    before = (points[k][1] - points[k - 1][1]) / (points[k][0] - points[k - 1][0])
    after = (points[k + 1][1] - points[k][1]) / (points[k + 1][0] - points[k][0])
    return 2.0 * before * after / (before + after) if before * after > 0 else 0.0


def constant(value: float) -> Fill:
    """The same value everywhere."""
    return lambda x, y: value


def over_x(*points: tuple[float, float]) -> Fill:
    """A smooth curve over the x axis."""
    return lambda x, y: rounded(list(points), x)


def product(x_points: list[tuple[float, float]], y_points: list[tuple[float, float]]) -> Fill:
    """A surface that is a curve over x times a curve over y."""
    return lambda x, y: rounded(x_points, x) * rounded(y_points, y)


def total(x_points: list[tuple[float, float]], y_points: list[tuple[float, float]]) -> Fill:
    """A surface that is a curve over x plus a curve over y."""
    return lambda x, y: rounded(x_points, x) + rounded(y_points, y)
