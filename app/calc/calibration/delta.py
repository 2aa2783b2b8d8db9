"""Comparing two images under a layout: which maps changed, and what nothing explains."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.byte_changes import (
    ABSENT,
    CHECKSUM,
    EXPLAINED,
    UNEXPLAINED,
    ByteChanges,
    explained_by,
)
from app.calc.calibration.byte_ranges import ByteRanges, Int64Array, changed_ranges, union
from app.calc.calibration.changed_maps import ChangedMap, changed_maps
from app.calc.calibration.checksum import ChecksumResult, evaluate_all
from app.calc.calibration.comparison import Comparison, UnexplainedRange
from app.calc.calibration.decode import undecodable
from app.calc.calibration.delta_summary import build_deltas
from app.calc.calibration.footprint import ROLES, Footprints, footprints
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout, VolatileRange
from app.calc.calibration.placement import place

__all__ = ["MERGE_GAP", "compare", "unexplained_ranges"]

MERGE_GAP = 16
_VALUES = ROLES.index("values")


def compare(before: Image, after: Image, layout: Layout | None, *, checksums: bool = True) -> Comparison:
    """Every change from `before` to `after`.

    Each changed byte counts once. A byte of a stored block checksum is a checksum byte even where a map definition
    covers it; else a byte of a cell, breakpoint or point count of a changed map is explained; all others are
    unexplained, those of a map that cannot be read among them. A map counts as changed when one of its numbers or
    breakpoints does: a changed axis that several maps share changes each of them.

    Without a layout everything is unexplained. `checksums` False leaves the block checksums unevaluated.
    """
    found = changed_ranges(before, after)
    changes, everything = ByteChanges.between(before, after, found), found.all
    if layout is None or not len(changes):
        results, results_before = _checksums(before, after, layout, checksums)
        ranges = unexplained_ranges(before, after, changes, ())
        return Comparison((), ranges, results, results_before, changes, layout is not None)
    stored = [definition.stored_range for definition in layout.checksums_in_image]
    explained_by(changes, ByteRanges.of(stored), CHECKSUM)
    placed = _placed_footprints(before, after, layout)
    touched = _touched(placed, everything)
    changed = changed_maps(before, after, layout, touched)
    explained_by(changes, _explained(placed, changed, len(layout.maps)), EXPLAINED)
    results, results_before = _checksums(before, after, layout, checksums)
    return Comparison(
        tuple(build_deltas([(change.subject, change.before, change.after) for change in changed])),
        unexplained_ranges(before, after, changes, layout.volatile_in_image),
        results,
        results_before,
        changes,
        True,
        _unreadable(before, after, layout, placed, touched),
    )


Results = tuple[ChecksumResult, ...]


def _checksums(before: Image, after: Image, layout: Layout | None, wanted: bool) -> tuple[Results, Results]:
    if layout is None or not wanted:
        return (), ()
    definitions = layout.checksums_in_image
    return evaluate_all(after, definitions), evaluate_all(before, definitions)


def _placed_footprints(before: Image, after: Image, layout: Layout) -> list[Footprints]:
    """Where the maps lie in each image; once when they lie at the same places."""
    if place(before, layout) is place(after, layout):
        return [footprints(before, layout)]
    return [footprints(before, layout), footprints(after, layout)]


def _touched(placed: list[Footprints], changed: ByteRanges) -> list[int]:
    """Indices, ascending, of the maps that changed bytes touch."""
    owners = [prints.owners(changed.starts, changed.ends) for prints in placed]
    touched: list[int] = (owners[0] if len(owners) == 1 else np.union1d(*owners)).tolist()
    return touched


def _explained(placed: list[Footprints], changed: list[ChangedMap], count: int) -> ByteRanges:
    """The bytes of changed maps: all of their cells, or only the cells that differ where these are listed."""
    whole, axes = np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    for change in changed:
        (whole if change.cells is None else axes)[change.index] = True
    starts, ends = [], []
    for prints in placed:
        rows = whole[prints.owner] | (axes[prints.owner] & (prints.role != _VALUES))
        starts.append(prints.start[rows])
        ends.append(prints.end[rows])
    for change in changed:
        if change.cells is not None:
            starts.append(change.cells.starts)
            ends.append(change.cells.ends)
    return union(np.concatenate(starts), np.concatenate(ends))


def _unreadable(
    before: Image, after: Image, layout: Layout, placed: list[Footprints], touched: list[int]
) -> tuple[tuple[str, str], ...]:
    """Maps that changed bytes touch in one image and that the other one does not give."""
    if len(placed) == 1:
        return ()
    reasons = dict((*undecodable(before, layout), *undecodable(after, layout)))
    names = (layout.maps[index].name for index in touched)
    return tuple((name, reasons[name]) for name in names if name in reasons)


def unexplained_ranges(
    before: Image, after: Image, changes: ByteChanges, volatile: tuple[VolatileRange, ...]
) -> tuple[UnexplainedRange, ...]:
    """Unexplained bytes, joined across fewer than MERGE_GAP unchanged ones.

    A range never reaches over explained bytes, over addresses that an image does not hold, or over the edge of a
    volatile range.
    """
    unexplained = changes.kind == UNEXPLAINED
    some = changes.where(unexplained)
    if not len(some):
        return ()
    at, step = some.addresses, np.diff(some.addresses)
    apart = step > MERGE_GAP
    apart |= _steps_over(changes.addresses[~unexplained], at)
    edges = [edge for image in (before, after) for s in image.segments for edge in (s.address, s.end)]
    edges += [edge for v in volatile for edge in (v.start, v.end)]
    apart |= _steps_over(np.sort(np.array(edges, np.int64)), at)
    cuts = [0, *(np.flatnonzero(apart) + 1).tolist(), len(some)]
    return tuple(_range(before, after, some, first, end, volatile) for first, end in pairwise(cuts))


def _steps_over(marks: Int64Array, at: Int64Array) -> NDArray[np.bool_]:
    """For any two neighbours in `at`, whether one of the rising marks lies between them or at the second."""
    stepped: NDArray[np.bool_] = np.diff(np.searchsorted(marks, at, side="right")) != 0
    return stepped


def _range(
    before: Image, after: Image, some: ByteChanges, first: int, end: int, volatile: tuple[VolatileRange, ...]
) -> UnexplainedRange:
    start = int(some.addresses[first])
    length = int(some.addresses[end - 1]) + 1 - start
    old = before.read(start, length) if some.before[first] != ABSENT else None
    new = after.read(start, length) if some.after[first] != ABSENT else None
    note = next((v.reason for v in volatile if v.start <= start < v.end), "")
    return UnexplainedRange(start, length, end - first, old, new, note)
