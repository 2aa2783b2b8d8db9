"""Which bytes belong to which map, without decoding anything."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.placement import Placement, place

Role = Literal["values", "axis", "count"]
ROLES: tuple[Role, ...] = ("values", "axis", "count")


@dataclass(frozen=True, slots=True)
class Footprints:
    """Byte ranges of all maps that can be decoded, sorted by start.

    start, end : int64 (n,), image addresses, end exclusive. owner : index into `layout.maps`; a range that
    several maps use, such as a shared axis, is listed once for each. role : index into ROLES.
    reach : the largest `end` up to and with each row, so that a search needs no look-back.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    owner: NDArray[np.int64]
    role: NDArray[np.int8]
    reach: NDArray[np.int64]

    def rows(self, run_starts: ArrayLike, run_ends: ArrayLike) -> NDArray[np.int64]:
        """Rows (sorted, each once) that overlap any of the byte runs [start, end)."""
        starts, ends = np.asarray(run_starts, dtype=np.int64), np.asarray(run_ends, dtype=np.int64)
        first = np.searchsorted(self.reach, starts, side="right")
        last = np.searchsorted(self.start, ends, side="left")
        length = np.maximum(last - first, 0)
        rows = np.repeat(first - np.concatenate(([0], np.cumsum(length)[:-1])), length) + np.arange(length.sum())
        return np.unique(rows[self.end[rows] > np.repeat(starts, length)])

    def owners(self, run_starts: ArrayLike, run_ends: ArrayLike) -> NDArray[np.int64]:
        """Indices (sorted, each once) of the maps that any of the byte runs [start, end) touches."""
        return np.unique(self.owner[self.rows(run_starts, run_ends)])


def footprints(image: Image, layout: Layout) -> Footprints:
    """Byte ranges of every map of `layout` that `image` holds; kept for images with the same placement."""
    placement = place(image, layout)
    found: Footprints | None = placement.cache.get("footprints")
    if found is None:
        found = placement.cache["footprints"] = _footprints(placement)
    return found


def _footprints(placement: Placement) -> Footprints:
    rows: set[tuple[int, int, int, int]] = set()
    for placed in placement.maps:
        owner = placed.index
        rows.update((a, b, owner, 0) for a, b in placed.values.runs)
        rows.update((*c.hull, owner, 2) for c in placed.counted_by)
        for axis in placed.axes:
            for cells in axis.stored:
                rows.update((a, b, owner, 2 if cells is axis.counted_by else 1) for a, b in cells.runs)
    table = np.array(sorted(rows), dtype=np.int64).reshape(-1, 4)
    start, end, owner_column, role = (np.ascontiguousarray(column) for column in table.T)
    return Footprints(start, end, owner_column, role.astype(np.int8), np.maximum.accumulate(end))
