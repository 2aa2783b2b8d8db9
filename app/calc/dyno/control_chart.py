"""Is the dyno itself drifting? Control charts of its repeatability and of a car measured again and again."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Chart:
    """Points with centre line and limits; `outside` are indexes beyond them."""

    values: tuple[float, ...]
    centre: float
    lower: float
    upper: float
    outside: tuple[int, ...]


def individuals(values: Sequence[float]) -> Chart | None:
    """Individuals chart: centre ± 3 × mean moving range / 1.128 (NIST/SEMATECH e-Handbook, section 6.3.2.2).

    None below three values.

    >>> chart = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(chart.centre, 2), round(chart.upper, 3), round(chart.lower, 3)
    (50.81, 55.804, 45.816)
    """
    if len(values) < 3:
        return None
    centre = sum(values) / len(values)
    moving = sum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    return _chart(values, centre, centre - 3 * moving / 1.128, centre + 3 * moving / 1.128)


def standard_deviations(values: Sequence[float], pulls: int) -> Chart | None:
    """s chart for sessions of `pulls` pulls: s̄ ± 3 s̄ √(1 − c₄²)/c₄ (NIST/SEMATECH e-Handbook, section 6.3.2.1)."""
    if len(values) < 3 or pulls < 2:
        return None
    centre = sum(values) / len(values)
    c4 = math.sqrt(2 / (pulls - 1)) * math.gamma(pulls / 2) / math.gamma((pulls - 1) / 2)
    half = 3 * centre * math.sqrt(1 - c4**2) / c4
    return _chart(values, centre, max(0.0, centre - half), centre + half)


def usual_count(counts: Sequence[int]) -> int | None:
    """How many pulls most sessions have, the larger number at a tie: limits of an s chart hold for one number only.

    >>> usual_count([3, 3, 5, 5, 2]), usual_count([])
    (5, None)
    """
    return max(set(counts), key=lambda n: (counts.count(n), n), default=None)


def _chart(values: Sequence[float], centre: float, lower: float, upper: float) -> Chart:
    outside = tuple(k for k, v in enumerate(values) if not lower <= v <= upper)
    return Chart(tuple(values), centre, lower, upper, outside)
