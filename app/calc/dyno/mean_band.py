"""The band around one session's mean curve: where the mean of very many such pulls would lie, all along at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.curve import Pulls
from app.calc.dyno.kinematic import field_length, threshold
from app.calc.dyno.repeatability import History

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

    The threshold is that of a t field (Telschow and Schwartzman, arXiv 1901.06386), as for a gain. A session that
    scatters significantly more than the history (F test, 5 %) is judged by its own scatter alone. One pull has no
    band: history alone says nothing about whether this pull was a good one.
    """
    own_dof = pulls.count - 1
    if own_dof < 1:
        return MeanBand(None, None, 0.0, False)
    mean = pulls.power_kw.mean(axis=0)
    residuals = pulls.power_kw / mean - 1.0
    own = (residuals**2).sum(axis=0) / own_dof
    use = None if history is None or _noisier(float(own.mean()), own_dof, history) else history
    variance, dof = own, float(own_dof)
    if use is not None:
        dof = float(own_dof + use.dof)
        variance = (own_dof * own + use.dof * use.variance) / dof
    half = threshold(dof, field_length(residuals), ALPHA) * np.sqrt(variance / pulls.count)
    return MeanBand(half * mean, half * pulls.torque_nm.mean(axis=0), dof, use is not None)


def _noisier(variance: float, dof: int, history: History) -> bool:
    from scipy.special import fdtri

    return variance / max(history.variance, 1e-12) > float(fdtri(dof, history.dof, 0.95))
