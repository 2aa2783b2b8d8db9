"""Trials of a checksum search: stored words of one size against the values of very many ranges."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from app.calc.calibration.checksum_algorithms import Algorithm, ByteOrder
from app.calc.calibration.checksum_kernels import CrcKernel, DoubleSumKernel, Ints, Kernel, Mask, SumKernel, Values
from app.calc.calibration.checksum_places import Area, boundaries, words

# Shorter blocks are more often a stored copy of a value than a checksum: common practice, no source.
SHORTEST_RANGE = 64
_WIDE_RANGES = 48
_SCREEN_BITS = 32

Range = tuple[int, int]
Hit = tuple[tuple[Range, ...], int]


@dataclass(frozen=True, slots=True)
class Ground:
    """What one group of trials works on.

    `area` holds the ranges, `positions` the places in it that matter; `edges` and `own` are indices of positions
    (range ends, and begins of words), `own_end` of the ends of the words. `words` are (area, places) of the words
    in all areas. `given` are index pairs of the ranges to try, None for all between edges.
    """

    area: Area
    size: int
    positions: Ints
    edges: Ints
    own: Ints
    own_end: Ints
    words: tuple[tuple[Area, Ints], ...]
    given: tuple[Range, ...] | None


def grounds(areas: Sequence[Area], sizes: Sequence[int], given: Sequence[Range] | None) -> Iterator[Ground]:
    """One ground for each area that has ranges to try and each size for which there are words."""
    natural = [boundaries(area) for area in areas]
    for size in sizes:
        found = [words(area, size, edges) for area, edges in zip(areas, natural, strict=True)]
        if not any(len(at) for at in found):
            continue
        for area, edges, own in zip(areas, natural, found, strict=True):
            inside = None if given is None else _inside(area, given)
            if inside is not None:
                edges = np.unique(np.array(inside, dtype=np.int64).ravel())
            if not len(edges):
                continue
            positions = np.unique(np.concatenate((edges, own, own + size)))
            yield Ground(
                area,
                size,
                positions,
                np.searchsorted(positions, edges),
                np.searchsorted(positions, own),
                np.searchsorted(positions, own + size),
                tuple(zip(areas, found, strict=True)),
                None if inside is None else tuple(_indices(positions, r) for r in inside),
            )


def _inside(area: Area, ranges: Sequence[Range]) -> list[Range]:
    """The ranges that lie in the area, as places in it."""
    return [(a - area.address, b - area.address) for a, b in ranges if area.address <= a < b <= area.end]


def _indices(positions: Ints, range_: Range) -> Range:
    low, high = np.searchsorted(positions, range_)
    return int(low), int(high)


def fits(ground: Ground, models: Sequence[Algorithm]) -> Iterator[tuple["Fit", list[Algorithm]]]:
    """Each kernel and byte order with the algorithms of the ground's word size that it serves."""
    passes = min(len(ground.area.parts), max(2, _SCREEN_BITS // (8 * ground.size)))
    parts, positions = ground.area.parts[:passes], ground.positions
    orders: tuple[ByteOrder, ...] = ("big",) if ground.size == 1 else ("big", "little")
    crcs = sorted((m for m in models if m.family == "crc"), key=_polynomial)
    for _, group in groupby(crcs, key=_polynomial):
        members = list(group)
        crc = CrcKernel(members[0], parts, positions)
        for order in orders:
            yield Fit(ground, crc, order, passes, 1), members
    sums = sorted((m for m in models if m.family in ("sum", "end-around-carry")), key=lambda m: m.unit)
    for order in orders:
        for unit, group in groupby(sums, key=lambda m: m.unit):
            yield Fit(ground, SumKernel(parts, positions, unit, order), order, passes, unit), list(group)
        for model in models:
            if model.family in ("fletcher", "adler"):
                kernel = DoubleSumKernel(model, parts, positions, order)
                yield Fit(ground, kernel, order, passes, model.unit), [model]


def _polynomial(model: Algorithm) -> tuple[int, bool]:
    return model.poly, model.refin


class Fit:
    """Trials of one kernel and byte order. `count` is their number for one algorithm."""

    def __init__(self, ground: Ground, kernel: Kernel, order: ByteOrder, passes: int, unit: int) -> None:
        self.ground, self.kernel, self.order, self.passes = ground, kernel, order, passes
        self._positions = ground.positions
        self._before = ground.area.changed_before[self._positions]
        aligned = self._positions % unit == 0
        self._edges = ground.edges[aligned[ground.edges]]
        usable = aligned[ground.own] & aligned[ground.own_end]
        self._own, self._own_end = ground.own[usable], ground.own_end[usable]
        self._stored = [self._read(ground.area, self._positions[self._own], image) for image in range(passes)]
        self._anywhere = np.concatenate([at + area.address for area, at in ground.words])
        self._foreign = [
            np.concatenate([self._read(area, at, image) for area, at in ground.words]) for image in range(passes)
        ]
        self._wide = self._wide_ranges(aligned)
        starts, ends = self._pairs(aligned)
        self._starts, self._ends = starts, ends
        around = 0
        if ground.given is None:
            self._before_word = self._differs(self._edges, self._own)
            self._after_word = self._differs(self._own_end, self._edges)
            around = int(self._before_word.sum() + self._after_word.sum())
        self.count = around + len(starts) * len(self._anywhere) + 2 * len(self._wide) * len(self._own)

    def _read(self, area: Area, at: Ints, image: int) -> Values:
        """Stored words as numbers."""
        data = np.frombuffer(area.parts[image], dtype=np.uint8)
        value = np.zeros(len(at), dtype=np.uint64)
        size = self.ground.size
        for k in range(size):
            value = value << np.uint64(8) | data[at + (k if self.order == "big" else size - 1 - k)]
        return value

    def _differs(self, starts: Ints, ends: Ints) -> Mask:
        """Ranges long enough whose bytes are not the same in all images: only they can explain a changed word."""
        long_enough = self._positions[ends][None, :] - self._positions[starts][:, None] >= SHORTEST_RANGE
        differs: Mask = long_enough & (self._before[ends][None, :] > self._before[starts][:, None])
        return differs

    def _pairs(self, aligned: Mask) -> tuple[Ints, Ints]:
        """Starts and ends of the ranges that are tried with words anywhere, as indices of positions."""
        if self.ground.given is None:
            rows, columns = np.nonzero(self._differs(self._edges, self._edges))
            return self._edges[rows], self._edges[columns]
        pairs = [p for p in self.ground.given if aligned[p[0]] and aligned[p[1]]]
        both = np.array(pairs, dtype=np.int64).reshape(-1, 2)
        return both[:, 0], both[:, 1]

    def _wide_ranges(self, aligned: Mask) -> list[Range]:
        """The ranges that were given, or the longest between edges."""
        if self.ground.given is not None:
            return [p for p in self.ground.given if aligned[p[0]] and aligned[p[1]]]
        at = self._edges.tolist()
        pairs = [(i, j) for k, i in enumerate(at) for j in at[k + 1 :]]
        return sorted(pairs, key=lambda p: int(self._positions[p[0]] - self._positions[p[1]]))[:_WIDE_RANGES]

    def hits(self, model: Algorithm) -> Iterator[Hit]:
        """(ranges, stored at) in addresses, where the first images agree with the algorithm."""
        base = self.ground.area.address
        own = [self.kernel.domain(model, values) for values in self._stored]
        if self.ground.given is None and len(self._own):
            for start, end, at in self._around(model, own):
                yield ((start + base, end + base),), at + base
        for start, end, address in self._apart(model):
            yield ((start + base, end + base),), address
        for parts, at in self._within(model, own):
            yield tuple((a + base, b + base) for a, b in parts), at + base

    def _around(self, model: Algorithm, stored: list[Values]) -> Iterator[tuple[int, int, int]]:
        """Ranges from an edge to the word, and from after the word to an edge."""
        before, after = self._before_word, self._after_word
        for image in range(self.passes):
            if before.any():
                before = before & self.kernel.tails(model, image, self._edges, self._own, stored[image])
            if after.any():
                spans = self.kernel.spans(model, image, self._own_end, self._edges)
                after = after & (spans == stored[image][:, None])
        at = self._positions
        for edge, word in np.argwhere(before):
            yield int(at[self._edges[edge]]), int(at[self._own[word]]), int(at[self._own[word]])
        for word, edge in np.argwhere(after):
            yield int(at[self._own_end[word]]), int(at[self._edges[edge]]), int(at[self._own[word]])

    def _apart(self, model: Algorithm) -> Iterator[tuple[int, int, int]]:
        """Ranges between edges with the word anywhere."""
        if not len(self._starts):
            return
        rows, columns = np.searchsorted(self._edges, self._starts), np.searchsorted(self._edges, self._ends)
        pairs = words_at = np.zeros(0, dtype=np.int64)
        for image in range(self.passes):
            values = self.kernel.spans(model, image, self._edges, self._edges)[rows, columns]
            stored = self.kernel.domain(model, self._foreign[image])
            if image == 0:
                pairs, words_at = _equal_rows(values, stored)
            else:
                same = values[pairs] == stored[words_at]
                pairs, words_at = pairs[same], words_at[same]
            if not len(pairs):
                return
        for pair, word in zip(pairs.tolist(), words_at.tolist(), strict=True):
            start, end = self._positions[self._starts[pair]], self._positions[self._ends[pair]]
            yield int(start), int(end), int(self._anywhere[word])

    def _within(self, model: Algorithm, stored: list[Values]) -> Iterator[Hit]:
        """Wide ranges with the word inside, counted as zero or left out."""
        at = self._positions
        for start, end in self._wide:
            inside = (self._own >= start) & (self._own_end <= end)
            low, high = self._own[inside], self._own_end[inside]
            zeroed = np.ones(len(low), dtype=np.bool_)
            left_out = zeroed.copy()
            for image in range(self.passes):
                with_zeros, without = self.kernel.inside(model, image, start, end, low, high)
                zeroed &= with_zeros == stored[image][inside]
                left_out &= np.False_ if without is None else without == stored[image][inside]
                if not (zeroed.any() or left_out.any()):
                    break
            whole = int(at[start]), int(at[end])
            for word in np.flatnonzero(zeroed):
                yield (whole,), int(at[low[word]])
            for word in np.flatnonzero(left_out):
                around = (whole[0], int(at[low[word]])), (int(at[high[word]]), whole[1])
                yield tuple(r for r in around if r[0] < r[1]), around[0][1]


def _equal_rows(mine: Values, theirs: Values) -> tuple[Ints, Ints]:
    """Indices of all equal (mine, theirs)."""
    order = np.argsort(theirs, kind="stable")
    keys = theirs[order]
    low = np.searchsorted(keys, mine, side="left")
    counts = np.searchsorted(keys, mine, side="right") - low
    rows = np.repeat(np.arange(len(counts)), counts)
    within = np.arange(len(rows)) - np.repeat(np.cumsum(counts) - counts, counts)
    return rows, order[low[rows] + within]
