"""Applying many packed runs, one set after the other, with as few array operations as their order allows.

Where the runs lie and what their numbers are is worked out for all sets at once. Only what depends on the old
cells, which an earlier set may have changed, is done set by set.
"""

from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.coded_runs import SUMMED, Int64Array, PackedRuns, cell_type, raised


class RunChain:
    """Sets of runs over cells of one size, ready to be applied in their order; a set may be empty (None)."""

    __slots__ = ("at", "bounds", "itemsize", "numbers", "ratios", "sets")

    def __init__(self, sets: Sequence[PackedRuns | None], itemsize: int) -> None:
        self.sets, self.itemsize = sets, itemsize
        present = [runs for runs in sets if runs is not None]
        ends = list(accumulate((runs.cells if runs else 0 for runs in sets), initial=0))
        self.bounds = list(pairwise(ends))
        if not present:
            return
        lengths = _column([runs.lengths for runs in present]) + 1
        cell_starts = list(accumulate((runs.cells for runs in present), initial=0))
        self.at = _shifts(present, cell_starts).repeat(lengths)
        self.at += np.arange(cell_starts[-1])
        rules = np.frombuffer(b"".join(runs.rules for runs in present), np.uint8)
        self.numbers = _column([runs.numbers for runs in present])
        _sum_up(self.numbers, (rules == SUMMED).repeat(lengths).nonzero()[0], cell_starts[:-1])
        if any(runs.ratios for runs in present):
            ratios, constants = _lines(present, rules, lengths)
            self.numbers += constants
            self.ratios = ratios

    def apply(self, k: int, state: NDArray[np.uint8]) -> None:
        """Change the cells of set `k` in `state`, a payload of single bytes that the sets before were applied to."""
        runs = self.sets[k]
        if runs is None:
            return
        first, end = self.bounds[k]
        cells = state[: state.size // self.itemsize * self.itemsize].view(cell_type(self.itemsize, runs.big_endian))
        at, change = self.at[first:end], self.numbers[first:end]
        old = cells[at]
        # Assigning to narrower cells drops the upper bits: that is the arithmetic modulo 2**8 or 2**16.
        cells[at] = raised(old, self.ratios[first:end]) + change + old if runs.ratios else change + old


def _column(sets: list[list[bytes]]) -> Int64Array:
    """The numbers of all sets in a row; sets with fewer planes have zeros above."""
    numbers: Int64Array = np.frombuffer(b"".join([planes[0] for planes in sets]), np.uint8).astype(np.int64)
    for k in range(1, max(map(len, sets))):
        upper = b"".join([planes[k] if k < len(planes) else bytes(len(planes[0])) for planes in sets])
        numbers += np.frombuffer(upper, np.uint8).astype(np.int64) << 8 * k
    return numbers


def _shifts(sets: list[PackedRuns], cell_starts: list[int]) -> Int64Array:
    """For each run what to add to a cell's place in the row of all cells to get its position in the payload."""
    gaps = _column([runs.gaps for runs in sets])
    at, reached = 0, 0
    for runs, cell_start in zip(sets, cell_starts, strict=False):
        gaps[at] += runs.first - cell_start - reached
        reached = runs.shift - cell_start
        at += runs.run_count
    return gaps.cumsum()


def _sum_up(numbers: Int64Array, summed: NDArray[np.intp], starts: list[int]) -> None:
    """Replace the numbers at `summed` by their running sums, which begin anew at each of `starts`."""
    if summed.size == 0:
        return
    sums = np.concatenate(([0], numbers[summed].cumsum()))
    first = summed.searchsorted(starts)
    numbers[summed] = sums[1:] - sums[first].repeat(np.diff(first, append=summed.size))


def _lines(sets: list[PackedRuns], rules: NDArray[np.uint8], lengths: Int64Array) -> tuple[Int64Array, Int64Array]:
    """Ratio and constant of every cell."""
    offsets = list(accumulate((runs.rule_count for runs in sets), initial=0))[:-1]
    row = rules + np.repeat(offsets, [runs.run_count for runs in sets])

    def cells(parts: list[bytes]) -> Int64Array:
        column: Int64Array = np.frombuffer(b"".join(parts), "<i4").astype(np.int64)
        spread: Int64Array = column[row].repeat(lengths)
        return spread

    ratios = cells([runs.ratios or bytes(4 * runs.rule_count) for runs in sets])
    return ratios, cells([runs.constants or bytes(4 * runs.rule_count) for runs in sets])
