"""Byte ranges of an image, and the ranges in which two images differ.

All functions work on whole arrays; none loops over bytes. Finding what changed in 4 MiB costs little more than
one comparison of the two blocks, because 64-bit words are compared first and single bytes only where a word differs.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.image import Image

Int64Array = NDArray[np.int64]

_WORD = 8


@dataclass(frozen=True, slots=True, eq=False)
class ByteRanges:
    """Disjoint, ascending ranges of addresses, `ends` exclusive; ranges that touch may be two.

    >>> ranges = ByteRanges.of([(0x10, 0x14), (0x18, 0x1A)])
    >>> ranges.size
    6
    >>> list(ranges.merged(16))
    [(16, 26)]
    """

    starts: Int64Array
    ends: Int64Array

    @classmethod
    def of(cls, pairs: Iterable[tuple[int, int]]) -> "ByteRanges":
        """The union of (start, end) pairs in any order, overlapping or not; empty pairs are dropped."""
        table = np.array([p for p in pairs if p[1] > p[0]], dtype=np.int64).reshape(-1, 2)
        return union(table[:, 0], table[:, 1])

    def __len__(self) -> int:
        return self.starts.size

    def __iter__(self) -> Iterator[tuple[int, int]]:
        return zip(self.starts.tolist(), self.ends.tolist(), strict=True)

    @property
    def size(self) -> int:
        """Number of bytes in all ranges."""
        return int((self.ends - self.starts).sum())

    def merged(self, gap: int) -> "ByteRanges":
        """Ranges joined where fewer than `gap` bytes lie between them; gap 1 joins those that touch."""
        if len(self) < 2:
            return self
        apart = np.flatnonzero(self.starts[1:] - self.ends[:-1] >= gap)
        return ByteRanges(
            self.starts[np.concatenate(([0], apart + 1))], self.ends[np.concatenate((apart, [len(self) - 1]))]
        )

    def intersected(self, other: "ByteRanges") -> "ByteRanges":
        """The parts that lie in both."""
        mine, theirs = self.overlaps(other)
        return ByteRanges(
            np.maximum(self.starts[mine], other.starts[theirs]), np.minimum(self.ends[mine], other.ends[theirs])
        )

    def minus(self, other: "ByteRanges") -> "ByteRanges":
        """The parts that `other` does not cover."""
        if not len(self) or not len(other):
            return self
        low = min(int(self.starts[0]), int(other.starts[0]))
        high = max(int(self.ends[-1]), int(other.ends[-1]))
        starts, ends = np.append(low, other.ends), np.append(other.starts, high)
        kept = ends > starts
        return self.intersected(ByteRanges(starts[kept], ends[kept]))

    def overlaps(self, other: "ByteRanges") -> tuple[Int64Array, Int64Array]:
        """Index pairs (i, j) of all ranges i of this and j of `other` that share at least one byte, by i then j."""
        first = np.searchsorted(other.ends, self.starts, side="right")
        counts = np.maximum(np.searchsorted(other.starts, self.ends, side="left") - first, 0)
        mine = np.repeat(np.arange(len(self)), counts)
        return mine, np.arange(mine.size) + np.repeat(first - (np.cumsum(counts) - counts), counts)

    def addresses(self) -> Int64Array:
        """Every address in the ranges, ascending."""
        lengths = self.ends - self.starts
        before = np.cumsum(lengths) - lengths
        found: Int64Array = np.arange(int(lengths.sum())) + np.repeat(self.starts - before, lengths)
        return found


def union(starts: Int64Array, ends: Int64Array) -> ByteRanges:
    """Ranges that cover each address of any (start, end), in any order; overlapping and touching ones become one."""
    if starts.size == 0:
        return ByteRanges(np.empty(0, np.int64), np.empty(0, np.int64))
    order = np.argsort(starts, kind="stable")
    starts, reach = starts[order], np.maximum.accumulate(ends[order])
    first = np.concatenate(([True], starts[1:] > reach[:-1]))
    return ByteRanges(starts[first], reach[np.concatenate((first[1:], [True]))])


def changed_offsets(before: bytes | memoryview, after: bytes | memoryview) -> Int64Array:
    """Offsets at which two blocks of one length differ, ascending.

    >>> changed_offsets(b"calibration", b"calihratioN").tolist()
    [4, 10]
    """
    if len(before) != len(after):
        raise ValueError(f"blocks of {len(before)} and {len(after)} bytes cannot be compared offset by offset")
    words = len(before) // _WORD
    old, new = np.frombuffer(before, np.uint64, words), np.frombuffer(after, np.uint64, words)
    differs = _true_at(old != new)
    rows, columns = np.nonzero(
        old[differs].view(np.uint8).reshape(-1, _WORD) != new[differs].view(np.uint8).reshape(-1, _WORD)
    )
    offsets = differs[rows] * _WORD + columns
    tail = words * _WORD
    if tail == len(before):
        return offsets
    rest = np.frombuffer(before, np.uint8, offset=tail) != np.frombuffer(after, np.uint8, offset=tail)
    return np.concatenate((offsets, np.flatnonzero(rest) + tail))


def runs(offsets: Int64Array, *, gap: int = 1) -> ByteRanges:
    """Ascending offsets as ranges, joined where fewer than `gap` other offsets lie between them."""
    if offsets.size == 0:
        return ByteRanges(offsets, offsets)
    breaks = np.flatnonzero(offsets[1:] - offsets[:-1] > gap)
    return ByteRanges(
        offsets[np.concatenate(([0], breaks + 1))], offsets[np.concatenate((breaks, [offsets.size - 1]))] + 1
    )


@dataclass(frozen=True, slots=True)
class ChangedRanges:
    """Where two images differ.

    common : addresses that both hold, with different bytes.
    removed : addresses that only the image before holds.
    added : addresses that only the image after holds.
    """

    common: ByteRanges
    removed: ByteRanges
    added: ByteRanges

    @property
    def all(self) -> ByteRanges:
        """All three together, touching ranges joined."""
        if not len(self.removed) and not len(self.added):
            return self.common
        parts = (self.common, self.removed, self.added)
        return union(np.concatenate([p.starts for p in parts]), np.concatenate([p.ends for p in parts]))


def changed_ranges(before: Image, after: Image) -> ChangedRanges:
    """Every address at which the images differ; a byte that only one of them holds is a changed byte.

    >>> old, new = Image.of([(0x100, b"abcd")]), Image.of([(0x100, b"abXd"), (0x200, b"yz")])
    >>> found = changed_ranges(old, new)
    >>> list(found.common), list(found.added), found.all.size
    ([(258, 259)], [(512, 514)], 3)
    """
    if before.spans == after.spans and len(before.segments) == 1:
        offsets = changed_offsets(before.segments[0].data, after.segments[0].data)
        nothing = ByteRanges.of([])
        return ChangedRanges(runs(offsets + before.segments[0].address), nothing, nothing)
    old, new = held(before), held(after)
    found = []
    for start, end in old.intersected(new):
        length = end - start
        offsets = changed_offsets(_view(before, start, length), _view(after, start, length))
        found.append(offsets + start)
    common = runs(np.concatenate(found)) if found else ByteRanges.of([])
    return ChangedRanges(common, old.minus(new), new.minus(old))


def held(image: Image) -> ByteRanges:
    """The addresses an image holds."""
    return ByteRanges.of([(s.address, s.end) for s in image.segments])


def _view(image: Image, address: int, length: int) -> memoryview:
    segment = image.segment_at(address)
    assert segment is not None
    start = address - segment.address
    return memoryview(segment.data)[start : start + length]


def _true_at(flags: NDArray[np.bool_]) -> Int64Array:
    """np.flatnonzero for flags that are nearly all false: eight at a time first."""
    groups = flags.size // _WORD
    hit = np.flatnonzero(flags[: groups * _WORD].view(np.uint64) != 0)
    rows, columns = np.nonzero(flags[: groups * _WORD].reshape(-1, _WORD)[hit])
    found = hit[rows] * _WORD + columns
    rest = np.flatnonzero(flags[groups * _WORD :])
    return np.concatenate((found, rest + groups * _WORD)) if rest.size else found
