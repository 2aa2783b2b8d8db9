"""Reading many rectangles of cells out of an image with one indexed read per data type."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.datatype import ByteOrder, DataType, storage

Spans = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Cells:
    """Equal cells in rows and columns: cell (r, c) begins at address + r*row_step + c*column_step.

    Steps are bytes and may be negative. `shape` is what people see: () | (columns,) | (rows, columns).
    """

    address: int
    data_type: DataType
    byte_order: ByteOrder
    rows: int
    columns: int
    row_step: int
    column_step: int
    shape: tuple[int, ...]

    @property
    def itemsize(self) -> int:
        """Bytes of one cell."""
        return storage(self.data_type).itemsize

    @property
    def hull(self) -> tuple[int, int]:
        """First address and first address after the last cell."""
        across, down = (self.columns - 1) * self.column_step, (self.rows - 1) * self.row_step
        low = self.address + min(across, 0) + min(down, 0)
        return low, self.address + max(across, 0) + max(down, 0) + self.itemsize

    @property
    def runs(self) -> list[tuple[int, int]]:
        """The exact bytes as (start, end) ranges: one, or one per line when lines lie apart."""
        low, high = self.hull
        if high - low == self.rows * self.columns * self.itemsize:
            return [(low, high)]
        lines, apart, length = self.rows, abs(self.row_step), self.columns
        if abs(self.column_step) > apart:
            lines, apart, length = self.columns, abs(self.column_step), self.rows
        return [(low + k * apart, low + k * apart + length * self.itemsize) for k in range(lines)]

    def addresses(self) -> NDArray[np.int64]:
        """Address of each cell's first byte, in the shape people see."""
        across = np.arange(self.columns, dtype=np.int64) * self.column_step
        down = np.arange(self.rows, dtype=np.int64) * self.row_step
        grid = (down[:, None] + across + self.address).reshape(self.shape)
        grid.flags.writeable = False
        return grid


@dataclass(frozen=True, slots=True)
class _Group:
    """All cells of one type, byte order and alignment; `index` picks them from the bytes."""

    dtype: "np.dtype[Any]"
    wide: "np.dtype[Any]"
    whole: bool
    index: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Gather:
    """A prepared read. `slots` gives for each rectangle (group, start, end) in the arrays of `read`."""

    groups: tuple[_Group, ...]
    slots: tuple[tuple[int, int, int], ...]
    grids: tuple[NDArray[np.int64], ...]

    @classmethod
    def of(cls, rectangles: Iterable[Cells], spans: Spans, keys: Sequence[Any] | None = None) -> "Gather":
        """Prepare a read of rectangles inside the segments `spans`.

        Rectangles of equal `keys` (any comparable values) lie side by side in their group's array.
        """
        items = list(rectangles)
        grids = tuple(cells.addresses() for cells in items)
        starts = [address for address, _ in spans]
        before = np.cumsum([0, *(length for _, length in spans)]).tolist()
        members: dict[tuple[DataType, ByteOrder, bool], list[tuple[int, int]]] = {}
        for k, cells in enumerate(items):
            at = bisect_right(starts, cells.address) - 1
            shift = before[at] - starts[at]
            whole = (cells.address + shift) % cells.itemsize == 0
            members.setdefault((cells.data_type, cells.byte_order, whole), []).append((k, shift))
        slots: list[tuple[int, int, int]] = [(0, 0, 0)] * len(items)
        groups: list[_Group] = []
        for (data_type, byte_order, whole), chosen in members.items():
            if keys is not None:
                chosen.sort(key=lambda member: keys[member[0]])
            end, parts = 0, []
            for k, shift in chosen:
                begin, end = end, end + grids[k].size
                slots[k] = (len(groups), begin, end)
                parts.append(grids[k].ravel() + shift)
            groups.append(_group(data_type, byte_order, whole, np.concatenate(parts)))
        return cls(tuple(groups), tuple(slots), grids)

    def read(self, payload: bytes) -> list[NDArray[Any]]:
        """One array per group: int64, uint64 (for uint64 cells) or float64 (for float cells)."""
        octets = np.frombuffer(payload, dtype=np.uint8)
        arrays = []
        for group in self.groups:
            if group.whole:
                size = group.dtype.itemsize
                cells = octets[: octets.size // size * size].view(group.dtype).take(group.index)
            else:
                cells = octets.take(group.index).view(group.dtype).ravel()
            with np.errstate(invalid="ignore"):  # a float cell may hold any bits, also a signalling NaN
                arrays.append(cells.astype(group.wide))
        return arrays


def _group(data_type: DataType, byte_order: ByteOrder, whole: bool, positions: NDArray[np.int64]) -> _Group:
    store = storage(data_type)
    wide = np.dtype(np.float64 if store.is_float else np.uint64 if data_type == "uint64" else np.int64)
    index = positions // store.itemsize if whole else positions[:, None] + np.arange(store.itemsize)
    return _Group(store.dtype(byte_order), wide, whole, index.astype(np.intp))
