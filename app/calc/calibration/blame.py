"""Who changed which cell of a map, along a line of revisions or over the whole tree."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.changed_maps import state_of
from app.calc.calibration.decode import decode
from app.calc.calibration.delta_summary import differs
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_delta import MapState
from app.calc.calibration.map_table import MapTable
from app.errors import BadInput

Key = TypeVar("Key", bound=Hashable)

FROM_THE_START = -1


@dataclass(frozen=True, slots=True, eq=False)
class Blame:
    """For each cell of the map as it is at the end of the line, when it last changed.

    cells : int64 of the map's shape, the place in the line of the image that last changed the cell, FROM_THE_START
    where it is as in the first image that has the map. axes : the same for each breakpoint of each axis.
    """

    table: MapTable
    cells: NDArray[np.int64]
    axes: tuple[NDArray[np.int64], ...]


def blame(line: Iterable[Image | None], layout: Layout, name: str) -> Blame:
    """Go through the images of a line from the root on; None stands for a revision without image and is passed over.

    When the number of points changes, every cell counts as changed by that image. BadInput when no image holds the
    map.
    """
    layout.map(name)
    found: Blame | None = None
    for place, image in enumerate(line):
        table = None if image is None else decode(image, layout, [name]).get(name)
        if table is not None:
            found = _begun(table, FROM_THE_START) if found is None else _continued(found, table, place)
    if found is None:
        raise BadInput(f"None of the images holds the map {name!r}.", field="name")
    return found


def _begun(table: MapTable, place: int) -> Blame:
    return Blame(
        table,
        np.full(table.raw.shape, place, np.int64),
        tuple(np.full(axis.values.shape, place, np.int64) for axis in table.axes),
    )


def _continued(found: Blame, table: MapTable, place: int) -> Blame:
    before, after = state_of(found.table), state_of(table)
    if before.values.shape != after.values.shape:
        return _begun(table, place)
    axes = tuple(
        np.where(_moved(old.values, new.values), place, last)
        for old, new, last in zip(before.axes, after.axes, found.axes, strict=True)
    )
    return Blame(table, np.where(differs(before, after), place, found.cells), axes)


def _moved(old: NDArray[np.float64], new: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray((old != new) & ~(np.isnan(old) & np.isnan(new)))


@dataclass(frozen=True, slots=True)
class CellValue(Generic[Key]):
    """One cell in one image of the tree.

    value : physical, None where the conversion has none. raw : as stored. text : for conversions with texts.
    changed : whether it differs from the parent's; True as well when the parent has no such cell.
    """

    key: Key
    parent: Key | None
    value: float | None
    raw: float
    text: str
    changed: bool


def cell_history(
    tree: Iterable[tuple[Key, Key | None, Image | None]], layout: Layout, name: str, index: tuple[int, ...] = ()
) -> list[CellValue[Key]]:
    """One cell in every image of a tree of (key, key of the parent or None, image or None), parents first.

    A revision without image is passed over, and its children are held against its parent. Images without the map, or
    without this cell, are left out. `index` is () | (x,) | (row y, column x).
    """
    layout.map(name)
    values: dict[Key, CellValue[Key] | None] = {}
    history = []
    for key, parent, image in tree:
        base = None if parent is None else values.get(parent)
        if image is None:
            values[key] = base
            continue
        table = decode(image, layout, [name]).get(name)
        values[key] = found = None if table is None else _cell(key, parent, state_of(table), index, base)
        if found is not None:
            history.append(found)
    return history


def _cell(
    key: Key, parent: Key | None, state: MapState, index: tuple[int, ...], base: CellValue[Key] | None
) -> CellValue[Key] | None:
    shape = state.values.shape
    assert state.raw is not None
    if len(index) != len(shape) or any(not 0 <= k < n for k, n in zip(index, shape, strict=True)):
        return None
    raw, value = state.raw[index].item(), float(state.values[index])
    text = ""
    if len(state.texts) == state.values.size:
        text = state.texts[int(np.ravel_multi_index(index, shape)) if index else 0]
    changed = parent is not None and (base is None or not (raw == base.raw or (raw != raw and base.raw != base.raw)))
    return CellValue(key, parent, value if np.isfinite(value) else None, raw, text, changed)
