"""The states before and after of the maps that changed bytes touch, without reading any other map.

Most maps are plain: whole numbers in whole cells, axes that are stored or fixed. What is needed to read one is worked
out when it is first asked for and kept with the layout's placement; all plain maps of both images are then read with
one indexed read per data type. The others (floats, bit masks, texts, computed axes) go through the general decoder.
"""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.byte_ranges import ByteRanges, Int64Array, union
from app.calc.calibration.datatype import ByteOrder, DataType, storage
from app.calc.calibration.decimals import decimals_of
from app.calc.calibration.decode import decode
from app.calc.calibration.delta_summary import differs
from app.calc.calibration.gather import Cells
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout, MapDefinition
from app.calc.calibration.map_delta import DeltaAxis, Floats, MapState, MapSubject
from app.calc.calibration.map_table import AxisTable, MapTable
from app.calc.calibration.placement import PlacedAxis, PlacedMap, Placement, place
from app.calc.calibration.scaling import Scaling

_Kind = tuple[DataType, ByteOrder]


@dataclass(frozen=True, slots=True, eq=False)
class ChangedMap:
    """A map whose numbers or breakpoints differ. `index` is its place in the layout.

    cells : the bytes of the cells that differ, where a changed byte of a cell need not change its number (bit masks,
    floats, texts); None when every changed byte of the map is explained by it.
    """

    index: int
    subject: MapSubject
    before: MapState
    after: MapState
    cells: ByteRanges | None = None


def changed_maps(before: Image, after: Image, layout: Layout, touched: list[int]) -> list[ChangedMap]:
    """Those of the maps `touched` (indices, ascending) that both images hold and that really differ."""
    placement = place(before, layout)
    plain: list[tuple[int, _Plain]] = []
    general = touched
    if place(after, layout) is placement:
        found = [(index, _plain(index, placement)) for index in touched]
        plain = [(index, ready) for index, ready in found if ready is not None]
        general = [index for index, ready in found if ready is None]
    changed = [*_read_plain(before, after, plain), *_read_general(before, after, layout, general)]
    return sorted(changed, key=lambda change: change.index)


def state_of(table: MapTable) -> MapState:
    """A decoded map as one side of a delta."""
    texts: tuple[str, ...] = ()
    if table.text is not None:
        texts = (table.text,)
    elif table.definition.scaling.texts:
        texts = tuple(table.labels)
    return MapState(table.physical, tuple(_delta_axis(axis) for axis in table.axes), table.raw, texts)


def subject_of(definition: MapDefinition, position: int) -> MapSubject:
    """What a delta says about the map itself. `position` is its place in the layout."""
    d = definition
    low, high = d.raw_limits
    decimals = decimals_of(d.scaling, d.data_type, d.decimals)
    return MapSubject(d.name, d.kind, d.category, d.scaling.unit, decimals, d.data_type, low, high, d.scaling, position)


def _delta_axis(axis: AxisTable) -> DeltaAxis:
    return DeltaAxis(axis.name, axis.unit, axis.values, axis.decimals)


def _read_general(before: Image, after: Image, layout: Layout, touched: list[int]) -> Iterable[ChangedMap]:
    if not touched:
        return
    names = {layout.maps[index].name: index for index in touched}
    old, new = decode(before, layout, names), decode(after, layout, names)
    for name, index in names.items():
        if name not in old or name not in new:
            continue
        a, b = old[name], new[name]
        first, second = state_of(a), state_of(b)
        same_shape = first.values.shape == second.values.shape
        cells = differs(first, second) if same_shape else np.ones(b.raw.shape, np.bool_)
        if cells.any() or not first.same_axes(second):
            starts = np.sort(b.addresses[cells])
            exact = union(starts, starts + b.itemsize) if same_shape else None
            yield ChangedMap(index, subject_of(b.definition, index), first, second, exact)


@dataclass(frozen=True, slots=True)
class _Part:
    """Cells of one rectangle: where in the payload (in cells of their type), and what a number means."""

    kind: _Kind
    at: Int64Array
    shape: tuple[int, ...]
    scaling: Scaling
    factor: float
    offset: float
    curved: bool


@dataclass(frozen=True, slots=True)
class _Plain:
    """A plain map: its values; for each axis name, unit and decimals with a stored part or with a ready axis."""

    subject: MapSubject
    values: _Part
    axes: tuple[tuple[str, str, int, "_Part | DeltaAxis"], ...]
    parts: tuple[_Part, ...]


def _plain(index: int, placement: Placement) -> _Plain | None:
    known: dict[int, _Plain | None] = placement.cache.setdefault("plain maps", {})
    if index not in known:
        placed = placement.by_index.get(index)
        known[index] = None if placed is None else _prepare(placed, placement)
    return known[index]


def _prepare(placed: PlacedMap, placement: Placement) -> _Plain | None:
    d = placed.definition
    if d.kind == "text" or d.bit_mask or d.scaling.texts or placed.counted_by:
        return None
    values = _part(placed.values, d.scaling, placement)
    axes = [_axis_part(axis, placement) for axis in placed.axes]
    if values is None:
        return None
    subject = subject_of(d, placed.index)
    ready = []
    for axis, part in zip(placed.axes, axes, strict=True):
        if part is None:
            return None
        scaling = axis.definition.scaling
        data_type = axis.definition.data_type if axis.cells is None else axis.cells.data_type
        ready.append((axis.definition.name, scaling.unit, decimals_of(scaling, data_type), part))
    parts = (values, *(part for *_, part in ready if isinstance(part, _Part)))
    return _Plain(subject, values, tuple(ready), parts)


def _axis_part(placed: PlacedAxis, placement: Placement) -> "_Part | DeltaAxis | None":
    axis = placed.definition
    if placed.counted_by or placed.parameters or axis.differences:
        return None
    if placed.cells is not None:
        return _part(placed.cells, axis.scaling, placement)
    values = axis.scaling.to_physical(axis.values[: placed.count])
    return DeltaAxis(axis.name, axis.scaling.unit, values, decimals_of(axis.scaling, axis.data_type))


def _part(cells: Cells, scaling: Scaling, placement: Placement) -> _Part | None:
    store = storage(cells.data_type)
    starts = [address for address, _ in placement.spans]
    at = bisect_right(starts, cells.address) - 1
    shift = sum(length for _, length in placement.spans[:at]) - starts[at]
    if store.is_float or (cells.address + shift) % store.itemsize or cells.data_type == "uint64":
        return None
    factor, offset = scaling.coefficients if scaling.kind == "linear" else (1.0, 0.0)
    curved = scaling.kind not in ("linear", "identical")
    positions = (cells.addresses().ravel() + shift) // store.itemsize
    return _Part((cells.data_type, cells.byte_order), positions, cells.shape, scaling, factor, offset, curved)


class _Read(NamedTuple):
    """Where the cells of one part lie in the arrays of its group, and how many of them differ."""

    group: "_Group"
    cut: slice
    changed: int


class _Group(NamedTuple):
    """Stored numbers and physical values, before and after, of all parts of one data type in a row."""

    old: NDArray[Any]
    new: NDArray[Any]
    old_values: Floats
    new_values: Floats


def _read_plain(before: Image, after: Image, maps: list[tuple[int, _Plain]]) -> Iterable[ChangedMap]:
    reads = iter(_read_parts(before, after, [part for _, ready in maps for part in ready.parts]))
    for index, ready in maps:
        values, cut, differing = next(reads)
        axes_before, axes_after = [], []
        for name, unit, decimals, part in ready.axes:
            if isinstance(part, DeltaAxis):
                axis_before = axis_after = part
            else:
                group, place_of, moved = next(reads)
                axis_before = axis_after = DeltaAxis(name, unit, group.new_values[place_of], decimals)
                if moved:
                    axis_before = DeltaAxis(name, unit, group.old_values[place_of], decimals)
                    differing += moved
            axes_before.append(axis_before)
            axes_after.append(axis_after)
        if differing:
            shape = ready.values.shape
            old_values, old = values.old_values[cut].reshape(shape), values.old[cut].reshape(shape)
            new_values, new = values.new_values[cut].reshape(shape), values.new[cut].reshape(shape)
            first = MapState(old_values, tuple(axes_before), old)
            yield ChangedMap(index, ready.subject, first, MapState(new_values, tuple(axes_after), new))


def _read_parts(before: Image, after: Image, parts: list[_Part]) -> list[_Read]:
    """One read for each part, in order."""
    members: dict[_Kind, list[int]] = {}
    for k, part in enumerate(parts):
        members.setdefault(part.kind, []).append(k)
    found: dict[int, _Read] = {}
    for kind, chosen in members.items():
        found.update(zip(chosen, _read_group(before, after, kind, [parts[k] for k in chosen]), strict=True))
    return [found[k] for k in range(len(parts))]


def _read_group(before: Image, after: Image, kind: _Kind, parts: list[_Part]) -> list[_Read]:
    dtype = storage(kind[0]).dtype(kind[1])
    at = np.concatenate([part.at for part in parts])
    old, new = (
        np.frombuffer(image.payload, dtype, len(image.payload) // dtype.itemsize)[at].astype(np.int64)
        for image in (before, after)
    )
    sizes = [part.at.size for part in parts]
    ends = list(accumulate(sizes))
    cuts = [slice(end - size, end) for size, end in zip(sizes, ends, strict=True)]
    changed = np.add.reduceat(old != new, [cut.start for cut in cuts], dtype=np.int64).tolist()
    factors, offsets = np.array([(part.factor, part.offset) for part in parts]).T.repeat(sizes, axis=1)
    with np.errstate(all="ignore"):  # a factor may be so large that values leave the range of floats
        old_values, new_values = old * factors + offsets, new * factors + offsets
    for part, cut in zip(parts, cuts, strict=True):
        if part.curved:
            old_values[cut] = part.scaling.to_physical(old[cut])
            new_values[cut] = part.scaling.to_physical(new[cut])
    for array in (old, new, old_values, new_values):
        array.flags.writeable = False
    group = _Group(old, new, old_values, new_values)
    return [_Read(group, cut, count) for cut, count in zip(cuts, changed, strict=True)]
