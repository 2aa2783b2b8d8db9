"""How much a table of numbers looks like a surface that somebody drew, and not like noise."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def smoothness(grid: Floats) -> float:
    """1 for a flat slope, about 0 for numbers in random order.

    One minus the mean step between neighbours, in units of Gini's mean difference, which is the mean step between
    numbers drawn at random from the same table. Steps along rows and along columns count equally. Not a published
    measure: a plain way of our own to rank guesses.

    >>> smoothness(np.arange(12.0).reshape(3, 4)) > 0.4
    True
    """
    if not np.isfinite(grid).all() or np.abs(grid).max() > 1e30:
        return 0.0
    ordered = np.sort(grid, axis=None)
    n = ordered.size
    if n < 2 or ordered[0] == ordered[-1]:
        return 0.5
    gini = 2 * float((np.arange(1 - n, n, 2) * ordered).sum()) / (n * (n - 1))
    steps = [float(np.abs(np.diff(grid, axis=axis)).mean()) for axis in (0, 1) if grid.shape[axis] > 1]
    return max(-1.0, 1 - sum(steps) / len(steps) / gini)


def rising_runs(window: bytes, dtype: "np.dtype[np.generic]") -> NDArray[np.int64]:
    """For each byte position, how many strictly rising numbers end right before it; 0 where none fits.

    >>> rising_runs(bytes([5, 1, 2, 3]), np.dtype("u1")).tolist()
    [0, 1, 1, 2, 3]
    """
    size, length = dtype.itemsize, len(window)
    runs = np.zeros(length + 1, dtype=np.int64)
    for phase in range(min(size, length)):
        count = (length - phase) // size
        if count == 0:
            continue
        numbers = np.frombuffer(window, dtype, count, phase).astype(np.float64)
        places = np.arange(count)
        breaks = np.where(np.concatenate(([True], numbers[1:] <= numbers[:-1])), places, 0)
        runs[phase + size :: size][:count] = places - np.maximum.accumulate(breaks) + 1
    return runs
