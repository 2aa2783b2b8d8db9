"""Choosing, for the cells that changed, the cell size and the rule that leave the smallest numbers.

Changed bytes close to each other are taken as one group: usually the edited region of one map. For each group every
rule is tried for bytes and for words of both byte orders, and the cheapest kept. A group's cost is the sum of
log2(1 + 2|number|) over its cells, a rough count of the bits that compression will need.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.byte_ranges import changed_offsets, runs
from app.calc.calibration.coded_runs import (
    FIRST_RATIO,
    MOST_RATIOS,
    RATIO_BITS,
    SIGNED_LIMIT,
    SUMMED,
    Int64Array,
    Runs,
    cell_type,
    predicted,
)

Floats = NDArray[np.float64]

_GROUP_GAP = 40
_BYTE_GAP = 4
_WORD_GAP = 2
_MOST_CHANGED = 64 << 10
# In bits: what naming a rule costs a group, measured on synthetic families.
_PLAIN_COST, _RATIO_COST = 4.0, 40.0
# A percentage that people type is a multiple of this; found exactly, it leaves no rounding.
_STEPS_PER_ONE = 200


def fit_runs(base: memoryview, new: memoryview) -> tuple[Runs, Runs]:
    """The changed cells of two payloads of one length, as bytes and as words; either may be empty."""
    offsets = changed_offsets(base, new)
    groups = np.zeros(offsets.size, np.int64)
    if offsets.size == 0 or offsets.size > _MOST_CHANGED:
        cells = _cells(base, new, offsets, groups, 1, True)
        return _coded(cells, _plain(1), np.ones(1, np.bool_)), _no_runs(2)
    groups[1:] = np.cumsum(np.diff(offsets) > _GROUP_GAP)
    count = int(groups[-1]) + 1
    single = _cells(base, new, offsets, groups, 1, True)
    single_fit = _fit(single, count)
    # The last byte of an odd payload belongs to no word: its group stays bytes.
    worded = offsets.size if offsets[-1] < len(base) // 2 * 2 else int(np.searchsorted(groups, count - 1))
    if worded == 0:
        return _coded(single, single_fit, np.ones(count, np.bool_)), _no_runs(2)
    orders = [_cells(base, new, offsets[:worded], groups[:worded], 2, big) for big in (True, False)]
    double, double_fit = min(
        ((cells, _fit(cells, count)) for cells in orders),
        key=lambda entry: float(np.minimum(entry[1].cost, single_fit.cost).sum()),
    )
    as_words = double_fit.cost < single_fit.cost
    return _coded(single, single_fit, ~as_words), _coded(double, double_fit, as_words)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Runs of cells of one size; `group` belongs to runs, `old` and `change` (signed, nearest to 0) to cells."""

    itemsize: int
    big_endian: bool
    starts: Int64Array
    lengths: Int64Array
    group: Int64Array
    old: Int64Array
    change: Int64Array


@dataclass(frozen=True, slots=True)
class _Fit:
    """For each group the cheapest rule (FIRST_RATIO for any with a ratio), its numbers, its cost in bits."""

    rule: Int64Array
    ratio: Int64Array
    constant: Int64Array
    cost: Floats


def _plain(count: int) -> _Fit:
    nothing = np.zeros(count, np.int64)
    return _Fit(nothing, nothing, nothing, np.full(count, np.inf))


def _cells(
    base: memoryview, new: memoryview, offsets: Int64Array, groups: Int64Array, itemsize: int, big_endian: bool
) -> _Cells:
    units = offsets // itemsize
    found = runs(units, gap=_BYTE_GAP if itemsize == 1 else _WORD_GAP)
    lengths = found.ends - found.starts
    at = found.addresses()
    dtype = cell_type(itemsize, big_endian)
    old = np.frombuffer(base, dtype, len(base) // itemsize)[at].astype(np.int64)
    half = 1 << (8 * itemsize - 1)
    change = (np.frombuffer(new, dtype, len(new) // itemsize)[at] - old + half & 2 * half - 1) - half
    group = groups[np.searchsorted(units, found.starts)]
    return _Cells(itemsize, big_endian, found.starts, lengths, group, old, change)


def _fit(cells: _Cells, count: int) -> _Fit:
    """The cheapest rule of each of `count` groups; a group without cells costs infinitely much."""
    present, first_run = np.unique(cells.group, return_index=True)
    starts = (np.cumsum(cells.lengths) - cells.lengths)[first_run]
    sizes = np.diff(starts, append=cells.old.size)
    steps = np.diff(cells.change, prepend=0)
    steps[starts] = cells.change[starts]
    ratio, constant, cost = _best_line(cells, starts, sizes)
    costs = np.stack((_bits(cells.change, starts) + _PLAIN_COST, _bits(steps, starts) + _PLAIN_COST, cost))
    best = costs.argmin(axis=0)
    fit = _plain(count)
    rules, ratios, constants = (np.zeros(count, np.int64) for _ in range(3))
    rules[present], ratios[present], constants[present] = best, ratio, constant
    fit.cost[present] = costs.min(axis=0)
    return _Fit(rules, ratios, constants, fit.cost)


def _bits(numbers: NDArray[Any], starts: Int64Array) -> Floats:
    sums: Floats = np.add.reduceat(np.log2(1 + 2 * np.abs(numbers)), starts)
    return sums


def _best_line(cells: _Cells, starts: Int64Array, sizes: Int64Array) -> tuple[Int64Array, Int64Array, Floats]:
    """Per group ratio and constant of the straight line change = ratio*old + constant, and the cost with it.

    Least squares, once as found and once with the ratio at the nearest step of half a percent.
    """
    x, y = cells.old.astype(np.float64), cells.change.astype(np.float64)
    sx, sy, sxx, sxy = (np.add.reduceat(column, starts) for column in (x, y, x * x, x * y))
    spread = sizes * sxx - sx * sx
    slope = np.where(spread > 0, (sizes * sxy - sx * sy) / np.where(spread > 0, spread, 1), 0.0)
    tried = []
    for value in (slope, np.rint(slope * _STEPS_PER_ONE) / _STEPS_PER_ONE):
        ratio = np.clip(np.rint(value * (1 << RATIO_BITS)), -SIGNED_LIMIT, SIGNED_LIMIT)
        constant = np.rint((sy - ratio / (1 << RATIO_BITS) * sx) / sizes)
        constant = np.clip(constant, -SIGNED_LIMIT, SIGNED_LIMIT).astype(np.int64)
        whole = ratio.astype(np.int64)
        rest = cells.change - predicted(cells.old, np.arange(starts.size), sizes, np.stack((whole, constant)))
        tried.append((whole, constant, _bits(rest, starts) + _RATIO_COST))
    (ratio_a, constant_a, cost_a), (ratio_b, constant_b, cost_b) = tried
    snapped = cost_b <= cost_a
    return (
        np.where(snapped, ratio_b, ratio_a),
        np.where(snapped, constant_b, constant_a),
        np.where(snapped, cost_b, cost_a),
    )


def _coded(cells: _Cells, fit: _Fit, wanted: NDArray[np.bool_]) -> Runs:
    """The runs of the wanted groups by their groups' rules."""
    kept = wanted[cells.group]
    kept_cells = np.repeat(kept, cells.lengths)
    starts, lengths, group = cells.starts[kept], cells.lengths[kept], cells.group[kept]
    old, change = cells.old[kept_cells], cells.change[kept_cells]
    lines = np.flatnonzero(wanted & (fit.rule == FIRST_RATIO))[:MOST_RATIOS]
    rule = np.where(fit.rule == SUMMED, SUMMED, 0)
    rule[lines] = FIRST_RATIO + np.arange(lines.size)
    rules = rule[group]
    table = np.zeros((2, FIRST_RATIO + lines.size), np.int64)
    table[0, FIRST_RATIO:], table[1, FIRST_RATIO:] = fit.ratio[lines], fit.constant[lines]
    numbers = change - predicted(old, rules, lengths, table)
    summed = np.repeat(rules == SUMMED, lengths)
    numbers[summed] = np.diff(change[summed], prepend=0)
    return Runs(cells.itemsize, cells.big_endian, starts, lengths, rules, table, numbers)


def _no_runs(itemsize: int) -> Runs:
    nothing = np.empty(0, np.int64)
    return Runs(itemsize, True, nothing, nothing, nothing, np.zeros((2, FIRST_RATIO), np.int64), nothing)
