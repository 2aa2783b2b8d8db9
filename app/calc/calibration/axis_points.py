"""Breakpoints that are computed from a few stored numbers instead of being stored one by one."""

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.datatype import DataType, storage

Floats = NDArray[np.float64]


def evenly_spaced(offset: float, step: float, count: int) -> Floats:
    """offset + i*step for i = 0 … count-1 (ASAP2 1.6, FIX_AXIS_PAR_DIST; with step 2**shift, FIX_AXIS_PAR).

    >>> evenly_spaced(100, 2**3, 4)
    array([100., 108., 116., 124.])
    """
    # Stored floats may be infinite or no numbers, and those of a description too large.
    with np.errstate(all="ignore"):
        return offset + step * np.arange(count, dtype=np.float64)


def differences_summed(stored: NDArray[np.generic], descending: bool) -> Floats:
    """Breakpoints whose stored form is the step from the one before; `stored` is in rising order."""
    steps = stored.astype(np.float64)
    # Stored floats may be infinite or no numbers.
    with np.errstate(all="ignore"):
        return np.cumsum(steps[::-1])[::-1] if descending else np.cumsum(steps)


def rescaled(pairs: NDArray[np.generic], count: int, data_type: DataType) -> Floats:
    """`count` breakpoints between stored pairs (breakpoint, position) spread over the type's range.

    Point k lies at position k * 2**bits / (count-1), between two pairs by a straight line; the last point is
    the last pair's breakpoint. The rule of ASAP2 1.6 for AXIS_RESCALE_X, from memory.
    """
    points, positions = pairs.astype(np.float64).reshape(-1, 2).T
    spread = 2.0 ** (8 * storage(data_type).itemsize) / max(count - 1, 1)
    values: Floats = np.interp(np.arange(count) * spread, positions, points)
    values[-1] = points[-1]
    return values
