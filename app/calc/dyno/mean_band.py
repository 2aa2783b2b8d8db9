"""The band around one session's mean curve: where the mean of very many such pulls would lie, all along at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.history import History
from app.calc.dyno.simultaneous import Sample, simultaneous_band

Values = NDArray[np.float64]

ALPHA = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class MeanBand:
    """Half widths of the simultaneous 95 % band of the mean, shape (m,); None when nothing tells the scatter."""

    half_kw: Values | None
    half_nm: Values | None
    dof: float
    used_history: bool


def mean_band(pulls: Pulls, *, history: History | None = None) -> MeanBand:
    """The band of the mean of n pulls, from their own scatter pooled with the dyno's history.

    The band is made as for a gain, see `simultaneous`. One pull has no band: history alone says nothing about whether
    this pull was a good one.
    """
    if pulls.count < 2:
        return MeanBand(None, None, 0.0, False)
    mean = pulls.power_kw.mean(axis=0)
    sample = Sample(pulls.power_kw / mean - 1.0, np.full(mean.size, 1.0 / pulls.count))
    band = simultaneous_band([sample], history, alpha=ALPHA)
    if band is None:
        return MeanBand(None, None, 0.0, False)
    return MeanBand(band.half * mean, band.half * pulls.torque_nm.mean(axis=0), band.dof, band.used_history)
