"""Deltas and their summaries, for many maps in one pass over all their cells."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.map_delta import (
    AxisPlace,
    Compared,
    DeltaAxis,
    DeltaSummary,
    Floats,
    Grid,
    LargestChange,
    MapDelta,
    MapState,
    MapSubject,
)
from app.calc.calibration.union_grid import union_grid

Bools = NDArray[np.bool_]

_EQUAL = 1e-9


def build_deltas(changes: Sequence[tuple[MapSubject, MapState, MapState]]) -> list[MapDelta]:
    """The delta of each (map, before, after), in order.

    Maps with the same breakpoints are compared cell by cell, others as functions on the breakpoints of both.
    """
    # Floats of an image may be infinite or no numbers at all; such points are left out of the figures.
    with np.errstate(all="ignore"):
        plans = [_plan(*change) for change in changes]
        measured = [k for k, plan in enumerate(plans) if plan.numbers is not None]
        summaries: list[DeltaSummary | None] = [None] * len(plans)
        if measured:
            for k, summary in zip(measured, _summaries([plans[k] for k in measured]), strict=True):
                summaries[k] = summary
    return [
        MapDelta(plan.subject, plan.before, plan.after, summary or _uncompared(plan), plan.grid)
        for plan, summary in zip(plans, summaries, strict=True)
    ]


@dataclass(slots=True)
class _Plan:
    """How one map is compared; `numbers` are before and after on the grid, None for what has no difference."""

    subject: MapSubject
    before: MapState
    after: MapState
    same_axes: bool
    compared: Compared
    grid: Grid | None = None
    numbers: tuple[Floats, Floats] | None = None


def _plan(subject: MapSubject, before: MapState, after: MapState) -> _Plan:
    same = before.same_axes(after)
    if subject.entered_change is not None:
        covered = np.ones(subject.entered_change.shape, np.bool_)
        grid: Grid | None = Grid(after.axes, before.values, after.values, subject.entered_change, covered)
        return _Plan(subject, before, after, same, "as entered", grid, (before.values, after.values))
    if subject.kind == "text":
        return _Plan(subject, before, after, same, "text")
    if same:
        return _Plan(subject, before, after, same, "cell by cell", None, (before.values, after.values))
    grid = union_grid(before, after, subject.scaling)
    if grid is not None:
        return _Plan(subject, before, after, same, "on both axes", grid, (grid.before, grid.after))
    return _Plan(subject, before, after, same, "not comparable")


def _uncompared(plan: _Plan) -> DeltaSummary:
    """Texts, and maps whose shapes have nothing in common: what can still be counted."""
    before, after = plan.before, plan.after
    changed = max(before.values.size, after.values.size)
    if before.values.shape == after.values.shape:
        changed = int(differs(before, after).sum())
    return DeltaSummary(after.values.size, changed, axes_changed=_axes_changed(before, after), compared=plan.compared)


def differs(before: MapState, after: MapState) -> Bools:
    """For states of one shape, which cells differ: by stored number where both are read from images."""
    a, b = before.raw, after.raw
    if a is None or b is None:
        a, b = before.values, after.values
    found: Bools = np.asarray(a != b)
    if a.dtype.kind == "f":
        found &= ~(np.isnan(a) & np.isnan(b))
    return found


def _axes_changed(before: MapState, after: MapState) -> tuple[bool, ...]:
    if len(before.axes) != len(after.axes):
        return (True,) * len(after.axes)
    return tuple(not a.same_points(b) for a, b in zip(before.axes, after.axes, strict=True))


@dataclass(frozen=True, slots=True)
class _Cells:
    """All points of all grids in a row; `starts` is where each map begins."""

    starts: NDArray[np.int64]
    sizes: NDArray[np.int64]
    before: Floats
    after: Floats
    change: Floats
    valid: Bools
    changed: Bools

    @classmethod
    def of(cls, plans: list[_Plan], differing: Bools) -> "_Cells":
        """`differing`: for the points of grids that are the maps' own cells, whether the stored numbers differ."""
        pairs = [plan.numbers for plan in plans if plan.numbers is not None]
        before = np.concatenate([old.ravel() for old, _ in pairs])
        after = np.concatenate([new.ravel() for _, new in pairs])
        sizes = np.array([old.size for old, _ in pairs])
        starts = np.cumsum(sizes) - sizes
        change, changed = after - before, differing
        valid = np.isfinite(change)
        for k, plan in enumerate(plans):
            if plan.grid is not None:
                cut = slice(int(starts[k]), int(starts[k] + sizes[k]))
                change[cut] = plan.grid.change.ravel()
                valid[cut] = np.isfinite(change[cut]) & plan.grid.covered.ravel()
                changed[cut] = (change[cut] != 0) & valid[cut]
        return cls(starts, sizes, before, after, change, valid, changed)

    def over(self, reduce: Any, numbers: Floats, where: Bools, otherwise: float) -> list[float]:
        """One number per map: `reduce` over the points `where` holds."""
        reduced: list[float] = reduce.reduceat(np.where(where, numbers, otherwise), self.starts).tolist()
        return reduced

    def counted(self, which: Bools) -> list[int]:
        """Number of points per map."""
        counts: list[int] = np.add.reduceat(which, self.starts, dtype=np.int64).tolist()
        return counts


def _stored(plans: list[_Plan]) -> tuple[Bools, list[int], list[int]]:
    """By stored numbers: which points differ, and how many changed cells now hold the least and the largest number.

    Points of a grid that is not the maps' own cells are left False.
    """
    pairs = [(p.before.raw, p.after.raw) for p in plans if p.same_axes]
    kinds = {None if raw is None else raw.dtype for pair in pairs for raw in pair}
    if len(pairs) < len(plans) or kinds != {np.dtype(np.int64)}:
        parts = [_stored_one(plan) for plan in plans]
        return np.concatenate([part[0] for part in parts]), [part[1] for part in parts], [part[2] for part in parts]
    old, new = (np.concatenate([raw.ravel() for raw in side if raw is not None]) for side in zip(*pairs, strict=True))
    sizes = np.array([plan.after.values.size for plan in plans])
    starts = sizes.cumsum() - sizes
    differing = old != new
    limits = np.array([(p.subject.raw_minimum, p.subject.raw_maximum) for p in plans], np.float64).T
    low, high = (
        np.add.reduceat((differing & (new == limit.repeat(sizes))).astype(np.int64), starts).tolist()
        for limit in limits
    )
    return differing, low, high


def _stored_one(plan: _Plan) -> tuple[Bools, int, int]:
    old, new, subject = plan.before, plan.after, plan.subject
    same_shape = old.values.shape == new.values.shape
    moved = differs(old, new) if same_shape else np.ones(new.values.shape, np.bool_)
    low, high = (
        0 if limit is None or new.raw is None else int(np.count_nonzero(moved & (new.raw == limit)))
        for limit in (subject.raw_minimum, subject.raw_maximum)
    )
    return moved.ravel() if plan.grid is None else np.zeros(plan.grid.change.size, np.bool_), low, high


def _summaries(plans: list[_Plan]) -> list[DeltaSummary]:
    differing, lowest, highest = _stored(plans)
    cells = _Cells.of(plans, differing)
    change, valid = cells.change, cells.valid
    moved = cells.changed & valid
    percent = np.full(change.size, np.nan)
    np.divide(100 * change, np.abs(cells.before), out=percent, where=moved & (cells.before != 0))
    based = np.isfinite(percent)
    percent[~based] = np.nan
    counted, changed, measured, based_count = (cells.counted(w) for w in (valid, cells.changed, moved, based))
    low, high = cells.over(np.minimum, change, valid, np.inf), cells.over(np.maximum, change, valid, -np.inf)
    total, total_moved = cells.over(np.add, change, valid, 0.0), cells.over(np.add, change, moved, 0.0)
    p_low, p_high = cells.over(np.minimum, percent, based, np.inf), cells.over(np.maximum, percent, based, -np.inf)
    p_total = cells.over(np.add, percent, based, 0.0)
    largest = _largest(cells, plans, percent)
    sizes = cells.sizes.tolist()
    return [
        DeltaSummary(
            sizes[k],
            changed[k],
            low[k] if counted[k] else None,
            high[k] if counted[k] else None,
            total[k] / counted[k] if counted[k] else None,
            total_moved[k] / measured[k] if measured[k] else None,
            p_low[k] if based_count[k] else None,
            p_high[k] if based_count[k] else None,
            p_total[k] / based_count[k] if based_count[k] else None,
            largest[k],
            lowest[k],
            highest[k],
            (False,) * len(plan.after.axes) if plan.same_axes else _axes_changed(plan.before, plan.after),
            sizes[k] - int(plan.grid.covered.sum()) if plan.grid else 0,
            plan.compared,
        )
        for k, plan in enumerate(plans)
    ]


def _largest(cells: _Cells, plans: list[_Plan], percent: Floats) -> list[LargestChange | None]:
    size = np.where(cells.valid & cells.changed, np.abs(cells.change), -1.0)
    peak = np.maximum.reduceat(size, cells.starts)
    # The same step in physical values differs in its last bits from cell to cell.
    hits = np.flatnonzero(size >= np.repeat(peak - _EQUAL * np.abs(peak), cells.sizes))
    at = hits[np.searchsorted(hits, cells.starts)]
    rows = zip(
        plans,
        peak.tolist(),
        (at - cells.starts).tolist(),
        cells.change[at].tolist(),
        cells.before[at].tolist(),
        cells.after[at].tolist(),
        percent[at].tolist(),
        strict=True,
    )
    return [
        None
        if peak_size < 0
        else LargestChange(change, _known(before), _known(after), _known(share), *_place(plan, place))
        for plan, peak_size, place, change, before, after, share in rows
    ]


def _known(value: float) -> float | None:
    return value if value == value else None


def _place(plan: _Plan, flat: int) -> tuple[tuple[int, ...], tuple[AxisPlace, ...]]:
    axes: tuple[DeltaAxis, ...] = plan.grid.axes if plan.grid else plan.after.axes
    shape = plan.grid.change.shape if plan.grid else plan.after.values.shape
    index = (flat,) if len(shape) == 1 else divmod(flat, shape[1]) if shape else ()
    if not axes:
        return index, ()
    places = [
        AxisPlace(axis.name, axis.unit, axis.values.item(k), axis.decimals)
        for axis, k in zip(axes, reversed(index), strict=True)
    ]
    return index, tuple(places)
