"""Gain curves drawn from a gain's uncertainty, to carry it through a computed strip run."""

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.gain import Gain

Values = NDArray[np.float64]


def gain_samples_kw(result: Gain, *, count: int = 80) -> Values | None:
    """Shape (count, m): the gain shifted by t · standard error along the whole curve, t at even quantiles of Student's
    distribution. None where the standard error is not known.

    The error is taken as fully shared along the curve. A run's times depend on averages over the curve, and sharing
    makes these err most, so the interval of a time can only come out too wide.
    """
    from scipy.special import stdtrit

    if result.se_kw is None:
        return None
    shares = (np.arange(count) + 0.5) / count
    shifts = stdtrit(result.dof, shares)
    samples: Values = result.gain_kw + shifts[:, None] * result.se_kw
    return samples
