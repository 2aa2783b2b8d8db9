"""What the next car is likely to gain, from what sister cars gained."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.errors import BadInput

FEWEST = 2


@dataclass(frozen=True, slots=True)
class Prediction:
    """Mean and standard deviation of the cars measured, and the interval that holds the next car's measured value
    with the given confidence, in the values' unit."""

    cars: int
    mean: float
    deviation: float
    low: float
    high: float
    confidence: float


def next_car(values: Sequence[float], *, confidence: float = 0.95) -> Prediction:
    """Two-sided prediction interval for one further value from the same normal population:
    x̄ ± t(1 − α/2; n − 1) · s · √(1 + 1/n) (Hahn and Meeker, "Statistical Intervals", 1991, section 4.8).

    Scatter between cars and scatter of the measurement both count, since the next car is measured too. With two
    cars the interval is wide, and rightly so. Raises BadInput for fewer than two values.

    >>> found = next_car([10.0, 12.0])
    >>> round(found.low, 1), round(found.high, 1)  # t(0.975; 1) = 12.706, s = 1.414
    (-11.0, 33.0)
    """
    from scipy.special import stdtrit

    n = len(values)
    if n < FEWEST:
        raise BadInput(f"{n} measured {'car says' if n == 1 else 'cars say'} too little about the next one.")
    data = np.asarray(values, dtype=np.float64)
    mean, deviation = float(data.mean()), float(data.std(ddof=1))
    half = float(stdtrit(n - 1, 0.5 + confidence / 2)) * deviation * float(np.sqrt(1 + 1 / n))
    return Prediction(n, mean, deviation, mean - half, mean + half, confidence)
