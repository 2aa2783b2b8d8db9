"""How the scatter of pulls hangs together along the curve: as one level, in slow waves, or from speed to speed.

The width of a band that covers a whole curve depends on it. A level error moves every speed at once and needs no
more than Student's t; an independent error at every speed gives the curve as many chances to leave the band as it
has speeds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

REACH = 8
"""Variances are averaged over this many steps of the 25 rpm grid to either side: noise changes slowly with engine
speed."""

LAGS = 2 * REACH + 2
_SEGMENTS = 5
_MOST_LEVEL = 0.98


@dataclass(frozen=True, slots=True)
class Structure:
    """Correlation of the standardised residuals along the curve, estimated with `dof` degrees of freedom.

    correlation : at lags of 0 … 17 steps of the grid. level : correlation between the curve's far ends, 0 … 0.98.
    roughness : 1 − correlation of neighbours, in each fifth of the curve. pieces : how many independent values a curve
    of pointwise variances is worth, smooth_pieces : how many one of variances averaged over ± 200 rpm is.
    variance : mean over the curve.
    """

    correlation: tuple[float, ...]
    level: float
    roughness: tuple[float, ...]
    pieces: float
    smooth_pieces: float
    variance: float
    dof: float


def pooled_variance(variance: Values) -> Values:
    """Mean of a pointwise variance, (m,), over ± 200 rpm, fewer at the ends."""
    sums = np.concatenate([[0.0], np.cumsum(variance)])
    place = np.arange(variance.size)
    low, high = np.maximum(place - REACH, 0), np.minimum(place + REACH + 1, variance.size)
    mean: Values = (sums[high] - sums[low]) / (high - low)
    return mean


def structure_of(residuals: Values, dof: float) -> Structure | None:
    """From residuals (n, m) about the mean of their session, of equal scale; None when all of them are zero."""
    variance = pooled_variance((residuals**2).sum(axis=0) / dof)
    # Rounding noise where pulls agree exactly, as after a copied stretch, must not look like a structure.
    if not variance.max() > 1e-20:
        return None
    variance = np.maximum(variance, 1e-6 * variance.max())
    correlation = _correlation(residuals / np.sqrt(variance))
    points = correlation.size
    lag = np.arange(points)
    far = lag > points // 2
    level = float(np.average(correlation[far], weights=points - lag[far]))
    squared = correlation**2
    return Structure(
        tuple(float(v) for v in correlation[:LAGS]),
        min(max(level, 0.0), _MOST_LEVEL),
        _roughness(residuals),
        _pieces(squared),
        _pieces(_averaged(squared)),
        float(variance.mean()),
        dof,
    )


def _pieces(memory: Values) -> float:
    """Length of a curve over the length of its memory: points²/ΣΣ of the correlation `memory` at all pairs."""
    weights = np.arange(memory.size, 0, -1, dtype=np.float64)
    weights[1:] *= 2.0
    return max(1.0, memory.size**2 / float(weights @ (memory / memory[0])))


def _averaged(memory: Values) -> Values:
    """Correlation, by lag, of a running mean over 17 points of what has the correlation `memory`."""
    width = 2 * REACH + 1
    triangle = (width - np.abs(np.arange(1 - width, width))) / width**2
    both = np.concatenate([memory[:0:-1], memory])
    smooth: Values = np.convolve(both, triangle, mode="same")[memory.size - 1 :]
    return np.maximum(smooth, 0.0)


def _correlation(standardised: Values) -> Values:
    """Autocorrelation along the curve, averaged over pulls; unbiased, because each residual is centred across pulls
    and not along the curve."""
    points = standardised.shape[1]
    spectrum = np.abs(np.fft.rfft(standardised, 2 * points)) ** 2
    products = np.fft.irfft(spectrum.sum(axis=0))[:points] / np.arange(points, 0, -1)
    correlation: Values = products / products[0]
    return correlation


def _roughness(residuals: Values) -> tuple[float, ...]:
    """1 − correlation of neighbouring speeds, as a ratio of sums over each fifth of the curve, where noise may grow."""
    before, after = residuals[:, :-1], residuals[:, 1:]
    starts = np.linspace(0, before.shape[1], _SEGMENTS + 1).astype(int)[:-1]
    steps = np.add.reduceat(((after - before) ** 2).sum(axis=0), starts)
    whole = np.add.reduceat((after**2 + before**2).sum(axis=0), starts)
    return tuple(float(v) for v in steps / np.where(whole > 0, whole, 1.0))


def merged(structures: Sequence[Structure]) -> Structure | None:
    """One structure from several sessions, as ratios of sums of covariances; None of none.

    A session that by chance shows little level shows little variance too: counted by its variance it misleads less.
    """
    if not structures:
        return None
    dof = np.array([one.dof for one in structures])
    variance = np.array([one.variance for one in structures])
    linear, squared = dof * variance, dof * variance**2
    lags = np.average([one.correlation for one in structures], axis=0, weights=linear)
    roughness = np.average([one.roughness for one in structures], axis=0, weights=linear)

    def pieces(values: Sequence[float]) -> float:
        return float(1.0 / np.average(1.0 / np.array(values), weights=squared))

    return Structure(
        tuple(float(v) for v in lags),
        float(np.average([one.level for one in structures], weights=linear)),
        tuple(float(v) for v in roughness),
        pieces([one.pieces for one in structures]),
        pieces([one.smooth_pieces for one in structures]),
        float(np.average(variance, weights=dof)),
        float(dof.sum()),
    )
