"""Where a block checksum of a family of images may begin, end and be stored."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.calc.calibration.image import Image

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

# Chosen so that a search in 4 MiB takes a few seconds: common practice, no source.
MAX_AREAS = 16
MAX_BLOCK_EDGES = 64
MAX_FILL_EDGES = 64
MAX_WORDS = 4096
SHORTEST_FILL = 32


@dataclass(frozen=True, slots=True)
class Area:
    """A stretch of addresses that all images hold: its bytes in each, and where they are not all the same."""

    address: int
    parts: tuple[memoryview, ...]
    changed: Mask
    changed_before: Ints

    @property
    def size(self) -> int:
        """Bytes in the area."""
        return len(self.changed)

    @property
    def end(self) -> int:
        """First address after the area."""
        return self.address + self.size


def common_areas(images: Sequence[Image], within: Iterable[tuple[int, int]] | None = None) -> tuple[Area, ...]:
    """The largest MAX_AREAS stretches that all images hold, in address order.

    `within` narrows what counts as changed to these (start, end) ranges.
    """
    shared = _spans(images[0])
    for image in images[1:]:
        shared = _both(shared, _spans(image))
    largest = sorted(shared, key=lambda span: span[0] - span[1])[:MAX_AREAS]
    return tuple(_area(images, start, end, within) for start, end in sorted(largest))


def _spans(image: Image) -> list[tuple[int, int]]:
    return [(s.address, s.end) for s in image.segments]


def _both(mine: Sequence[tuple[int, int]], theirs: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Intersection of two rising lists of (start, end)."""
    shared, i, j = [], 0, 0
    while i < len(mine) and j < len(theirs):
        low, high = max(mine[i][0], theirs[j][0]), min(mine[i][1], theirs[j][1])
        if low < high:
            shared.append((low, high))
        if mine[i][1] < theirs[j][1]:
            i += 1
        else:
            j += 1
    return shared


def _area(images: Sequence[Image], start: int, end: int, within: Iterable[tuple[int, int]] | None) -> Area:
    parts = []
    for image in images:
        segment = image.segment_at(start)
        assert segment is not None  # start lies in every image
        parts.append(memoryview(segment.data)[start - segment.address : end - segment.address])
    first = np.frombuffer(parts[0], dtype=np.uint8)
    changed = np.zeros(end - start, dtype=np.bool_)
    for part in parts[1:]:
        changed |= np.frombuffer(part, dtype=np.uint8) != first
    before = np.zeros(len(changed) + 1, dtype=np.int64)
    np.cumsum(changed, out=before[1:])
    if within is not None:
        allowed = np.zeros_like(changed)
        for low, high in within:
            allowed[max(0, low - start) : max(0, high - start)] = True
        changed &= allowed
    return Area(start, tuple(parts), changed, before)


def boundaries(area: Area) -> Ints:
    """Positions in the area where a summed block may begin or end, rising.

    The area's own ends, multiples of the power of two that cuts it into at most MAX_BLOCK_EDGES, and both ends of
    the longest runs of 0xFF or 0x00 (the front end also rounded up to 4 and 16, where linkers put the end).
    """
    step = 256
    while area.size > step * MAX_BLOCK_EDGES:
        step *= 2
    blocks = np.arange(-area.address % step, area.size, step)
    begins, ends = _fills(np.frombuffer(area.parts[0], dtype=np.uint8))
    rounded = [-(-(begins + area.address) // unit) * unit - area.address for unit in (4, 16)]
    found = np.unique(np.concatenate(([0, area.size], blocks, begins, ends, *rounded)))
    return found[(found >= 0) & (found <= area.size)].astype(np.int64)


def _fills(data: npt.NDArray[np.uint8]) -> tuple[Ints, Ints]:
    """Begin and end of the longest runs of 0xFF or 0x00."""
    turns = np.concatenate(([0], np.flatnonzero(data[1:] != data[:-1]) + 1, [len(data)]))
    lengths = np.diff(turns)
    runs = np.flatnonzero((lengths >= SHORTEST_FILL) & ((data[turns[:-1]] + np.uint8(1)) <= 1))
    runs = runs[np.argsort(-lengths[runs], kind="stable")[:MAX_FILL_EDGES]]
    return turns[runs], turns[runs + 1]


def words(area: Area, size: int, edges: Ints) -> Ints:
    """Positions of words of `size` bytes that differ between images, aligned to 2 bytes (1 for single bytes).

    Of more than MAX_WORDS those with changes standing alone come first, then those near an edge.
    """
    alignment = min(size, 2)
    every = np.arange(-area.address % alignment, area.size - size + 1, alignment)
    before = np.zeros(area.size + 1, dtype=np.int64)
    np.cumsum(area.changed, out=before[1:])
    found = every[before[every + size] > before[every]]
    if len(found) <= MAX_WORDS:
        return found
    margin = 2 * size
    crowd = before[np.minimum(found + size + margin, area.size)] - before[np.maximum(found - margin, 0)]
    after = np.minimum(np.searchsorted(edges, found), len(edges) - 1)
    distance = np.minimum(np.abs(edges[after] - found), np.abs(edges[np.maximum(after - 1, 0)] - found))
    best = np.argpartition((crowd << 32) + distance, MAX_WORDS)[:MAX_WORDS]
    return np.sort(found[best])
