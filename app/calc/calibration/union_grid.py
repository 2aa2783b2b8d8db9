"""Two maps with different breakpoints as functions on one grid.

A control unit reads a map by linear interpolation between breakpoints and holds the end value outside them. Two maps
are compared the same way: both are read at the breakpoints of either, so that moving a breakpoint without changing
the surface shows as no change.
"""

import numpy as np

from app.calc.calibration.map_delta import DeltaAxis, Floats, Grid, MapState
from app.calc.calibration.scaling import Scaling

# Breakpoints closer than this share of the axis are one: they differ by rounding only.
_SAME_POINT = 1e-9
_ROUNDING = 1e-9


@np.errstate(all="ignore")  # float cells and breakpoints may hold any bits
def union_grid(before: MapState, after: MapState, scaling: Scaling | None) -> Grid | None:
    """Both maps at the breakpoints of either; None when they have no axes in common or an axis is not monotonic."""
    if not before.axes or len(before.axes) != len(after.axes):
        return None
    if any(axis.values.size == 0 for axis in (*before.axes, *after.axes)):
        return None
    points = [_union(a, b) for a, b in zip(before.axes, after.axes, strict=True)]
    return grid_at(before, after, scaling, points)


@np.errstate(all="ignore")
def grid_at(before: MapState, after: MapState, scaling: Scaling | None, points: list[Floats]) -> Grid | None:
    """Both maps read at `points`, along x or x and y; None when an axis is not monotonic.

    A stored number stands for everything within half a step of it. Differences not larger than that, by the
    scaling of the stored numbers, are therefore 0: a breakpoint cannot be moved without rounding the values.
    """
    old, new = _rising(before), _rising(after)
    if old is None or new is None or len(old.axes) != len(points) or len(new.axes) != len(points):
        return None
    at_old, at_new = interpolated(old.values, old.axes, points), interpolated(new.values, new.axes, points)
    step = np.maximum(
        interpolated(steps_of(old, scaling), old.axes, points), interpolated(steps_of(new, scaling), new.axes, points)
    )
    change = np.asarray(at_new - at_old)
    rounding = _ROUNDING * np.maximum(np.abs(at_old), np.abs(at_new))
    same = np.isfinite(change) & (np.abs(change) <= step / 2 + rounding)
    change[same | (at_old == at_new)] = 0.0  # two infinite values are one, and have no difference
    inside = [
        (p >= max(a.values[0], b.values[0])) & (p <= min(a.values[-1], b.values[-1]))
        for p, a, b in zip(points, old.axes, new.axes, strict=True)
    ]
    covered = inside[0] if len(inside) == 1 else inside[1][:, None] & inside[0]
    axes = tuple(DeltaAxis(axis.name, axis.unit, p, axis.decimals) for axis, p in zip(after.axes, points, strict=True))
    return Grid(axes, at_old, at_new, change, covered)


def interpolated(values: Floats, axes: tuple[DeltaAxis, ...], points: list[Floats]) -> Floats:
    """A curve or map read at other points, linearly, held at its ends.

    values : (nx,) or (ny, nx) over rising `axes` (x) or (x, y). points : where to read, along each axis.

    >>> x = DeltaAxis("engine speed", "1/min", np.array([1000.0, 2000.0]))
    >>> interpolated(np.array([10.0, 20.0]), (x,), [np.array([500.0, 1250.0, 2000.0])])
    array([10. , 12.5, 20. ])
    """
    for axis, at in zip(axes, points, strict=True):
        values = _along_last(values, axis.values, at)
        if len(axes) == 2:
            values = values.T
    return values


def _along_last(values: Floats, axis: Floats, at: Floats) -> Floats:
    if axis.size == 1:
        return np.repeat(values, at.size, axis=-1)
    lower = np.clip(np.searchsorted(axis, at, side="right") - 1, 0, axis.size - 2)
    width = axis[lower + 1] - axis[lower]
    share = np.clip(np.where(width > 0, (at - axis[lower]) / np.where(width > 0, width, 1.0), 1.0), 0.0, 1.0)
    low, high = values[..., lower], values[..., lower + 1]
    # A value exactly at a breakpoint is the breakpoint's, even beside one that is not a number.
    return np.where(share == 0, low, np.where(share == 1, high, low + (high - low) * share))


def _rising(state: MapState) -> MapState | None:
    """The state with all axes rising; None when one is neither rising nor falling."""
    values, raw, axes = state.values, state.raw, []
    for k, axis in enumerate(state.axes):
        if axis.values.size == 0 or not np.isfinite(axis.values).all():
            return None
        steps = np.diff(axis.values)
        if (steps >= 0).all():
            axes.append(axis)
        elif (steps <= 0).all():
            axes.append(DeltaAxis(axis.name, axis.unit, axis.values[::-1], axis.decimals))
            dimension = values.ndim - 1 - k
            values = np.flip(values, axis=dimension)
            raw = None if raw is None else np.flip(raw, axis=dimension)
        else:
            return None
    return MapState(values, tuple(axes), raw)


def _union(a: DeltaAxis, b: DeltaAxis) -> Floats:
    points = np.unique(np.concatenate((a.values, b.values)))
    near = _SAME_POINT * (points[-1] - points[0])
    return points[np.concatenate(([True], np.diff(points) > near))]


def steps_of(state: MapState, scaling: Scaling | None) -> Floats:
    """What one step of the stored number means physically, cell by cell; 0 where nothing was rounded."""
    if scaling is None or state.raw is None or state.raw.dtype.kind == "f":
        return np.zeros(state.values.shape)
    raw = state.raw.astype(np.float64)
    with np.errstate(all="ignore"):
        return np.nan_to_num(np.abs(scaling.to_physical(raw + 1) - scaling.to_physical(raw)))
