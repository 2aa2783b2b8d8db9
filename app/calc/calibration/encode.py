"""Writing: physical values to stored numbers, stored numbers into a copy of an image."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.calibration.datatype import storage
from app.calc.calibration.image import Image
from app.calc.calibration.layout import bit_shift
from app.calc.calibration.map_table import AxisTable, MapTable
from app.errors import BadInput


def encode(table: MapTable | AxisTable, physical: ArrayLike) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Stored numbers for wanted physical values, and a mask of the cells held at a limit; same shapes.

    `physical` has the table's shape or broadcasts to it. A cell that already shows the wanted value keeps its
    stored number, so that encoding what was decoded changes nothing. BadInput for a fixed or computed axis.
    """
    _, before, shown = _stored(table)
    wanted = np.broadcast_to(np.asarray(physical, dtype=np.float64), before.shape)
    low, high = storage(table.data_type).minimum, storage(table.data_type).maximum
    if isinstance(table, MapTable):
        low, high = table.raw_min, table.raw_max
    found = table.definition.scaling.to_raw(wanted, table.data_type, raw_min=low, raw_max=high)
    same = (wanted == shown) | (np.isnan(wanted) & np.isnan(shown))
    return np.where(same, before, found.values), found.saturated & ~same


def write_cells(image: Image, table: MapTable | AxisTable, raw: ArrayLike) -> Image:
    """A copy of `image` with stored numbers `raw` (the table's shape) in the table's cells.

    Cells that hold their number already are left alone, byte for byte: another map may lie there too, and a float
    that is no number has many forms. With a bit mask the cell's other bits stay as `image` has them. BadInput when a
    number does not fit.
    """
    addresses, before, _ = _stored(table)
    dtype = storage(table.data_type).dtype(table.byte_order)
    values = np.broadcast_to(np.asarray(raw), before.shape)
    _check_fit(table, values)
    changed = stored_differs(before, values)
    if not changed.any():
        return image
    order = np.argsort(addresses[changed])
    sorted_addresses, cells = addresses[changed][order], values[changed][order]
    mask = table.definition.bit_mask if isinstance(table, MapTable) else 0
    size = dtype.itemsize
    cuts = np.flatnonzero(np.diff(sorted_addresses) != size) + 1
    patches = []
    for at, run in zip(np.split(sorted_addresses, cuts), np.split(cells, cuts), strict=True):
        start = int(at[0])
        if mask:
            old = np.frombuffer(image.read(start, run.size * size), dtype=_unsigned(dtype)).astype(np.uint64)
            kept = old & np.uint64(~mask & (1 << 8 * size) - 1)
            merged = kept | (run.astype(np.uint64) << np.uint64(bit_shift(mask)))
            patches.append((start, merged.astype(_unsigned(dtype)).tobytes()))
        else:
            patches.append((start, run.astype(dtype).tobytes()))
    return image.patched(patches)


def stored_differs(before: NDArray[Any], after: NDArray[Any]) -> NDArray[np.bool_]:
    """Which stored numbers differ; any two that are no numbers count as the same."""
    return np.asarray((before != after) & ~((before != before) & (after != after)))


def _unsigned(dtype: "np.dtype[Any]") -> "np.dtype[Any]":
    return np.dtype(f"u{dtype.itemsize}").newbyteorder(dtype.byteorder)


def _stored(table: MapTable | AxisTable) -> tuple[NDArray[np.int64], NDArray[Any], NDArray[np.float64]]:
    if isinstance(table, MapTable):
        return table.addresses, table.raw, table.physical
    if table.addresses is None or table.raw is None:
        raise BadInput(f"The axis {table.name!r} is not stored in the image and cannot be written.")
    if table.definition.differences:
        raise BadInput(f"The axis {table.name!r} is stored as differences and cannot be written point by point.")
    return table.addresses, table.raw, table.values


def _check_fit(table: MapTable | AxisTable, values: NDArray[Any]) -> None:
    store = storage(table.data_type)
    low, high = (table.raw_min, table.raw_max) if isinstance(table, MapTable) else (store.minimum, store.maximum)
    bad = (values < low) | (values > high)
    if store.is_float:
        bad &= np.isfinite(values)  # a float cell holds infinities as they are
    else:
        bad |= values != np.rint(values)
    if bad.any():
        worst = values[bad].ravel()[0]
        raise BadInput(f"{worst} cannot be stored in {table.name!r}: its cells hold {low:g} to {high:g}.")
