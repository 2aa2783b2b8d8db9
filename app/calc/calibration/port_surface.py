"""A recorded change as seen from another map: in its unit, at its breakpoints."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.changed_maps import state_of
from app.calc.calibration.delta_summary import differs
from app.calc.calibration.map_delta import DeltaAxis, Floats, MapDelta, MapState
from app.calc.calibration.map_table import MapTable
from app.calc.calibration.union_grid import grid_at, steps_of
from app.calc.number_text import counted
from app.calc.unit_labels import parse_unit
from app.calc.units import convert
from app.errors import BadInput

Bools = NDArray[np.bool_]
Entered = Literal["", "change", "percent"]


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """The source before and after at every cell of the target; all arrays have the target's shape.

    changed : where the source changed. unknown : where nobody knows. outside : cells beyond the source's breakpoints.
    as_stored : cells that hold the very stored number the source started from, under the same conversion; `raw_after`
    is then what the source stored. new_axes : breakpoints that moved, by the axis' place.
    entered : "change" or "percent" when only the change was written down.
    """

    before: Floats
    after: Floats
    change: Floats
    changed: Bools
    unknown: Bools
    outside: int
    as_stored: Bools
    raw_after: NDArray[Any] | None
    new_axes: dict[int, Floats]
    entered: Entered = ""

    def base_differs(self, table: MapTable) -> Bools:
        """Cells in which the target is not, within half a step, what the source started from."""
        step = steps_of(state_of(table), table.definition.scaling)
        here, there = table.physical, self.before
        with np.errstate(all="ignore"):
            apart = np.abs(here - there) > step / 2 + 1e-9 * np.abs(there)
        # Infinities have no difference and what is no number equals nothing; both are or are not the same.
        special = ~(np.isfinite(here) & np.isfinite(there)) & ~self.unknown
        same = (here == there) | (np.isnan(here) & np.isnan(there))
        return np.asarray(~self.as_stored & np.where(special, ~same, apart))


def surface_at(delta: MapDelta, table: MapTable) -> Surface:
    """The change of `delta` at the cells of `table`; BadInput with the reason when it cannot be taken over."""
    here = state_of(table)
    if delta.subject.entered_change is not None:
        return _entered(delta, here, table.unit)
    before, after = (_in_units_of(state, delta.unit, table) for state in (delta.state_before, delta.state_after))
    if before.same_axes(here) and after.values.shape == here.values.shape:
        return _cell_by_cell(delta, before, after, table)
    if not table.axes or len(table.axes) != len(before.axes):
        raise BadInput(f"The target's map {table.name!r} has another shape.")
    # Only where breakpoints moved can a small difference be nothing but rounding.
    rounded = None if before.same_axes(after) else delta.subject.scaling
    grid = grid_at(before, after, rounded, [axis.values for axis in here.axes])
    if grid is None:
        raise BadInput(f"An axis of {table.name!r} neither rises nor falls; the change cannot be read between points.")
    unknown = np.isnan(grid.change)
    nothing = np.zeros(here.values.shape, np.bool_)
    return Surface(
        grid.before,
        grid.after,
        grid.change,
        (grid.change != 0) & ~unknown,
        unknown,
        int(np.count_nonzero(~grid.covered)),
        nothing,
        None,
        {},
    )


def _cell_by_cell(delta: MapDelta, before: MapState, after: MapState, table: MapTable) -> Surface:
    subject, raw_after = delta.subject, delta.state_after.raw
    unknown = np.asarray(np.isnan(before.values) | np.isnan(after.values)) & np.asarray(delta.by_hand)
    changed = np.asarray(differs(delta.state_before, delta.state_after)) & ~unknown
    as_stored = np.zeros(changed.shape, np.bool_)
    same_conversion = subject.scaling == table.definition.scaling and subject.data_type == table.data_type
    if before.raw is not None and raw_after is not None and same_conversion:
        # A float cell may hold NaN before the change, which equals nothing, itself included.
        both_nan = (before.raw != before.raw) & (table.raw != table.raw)
        as_stored = changed & np.asarray((before.raw == table.raw) | both_nan)
    axes = {
        k: new.values
        for k, (old, new) in enumerate(zip(before.axes, after.axes, strict=True))
        if not old.same_points(new)
    }
    with np.errstate(all="ignore"):
        change = np.asarray(after.values - before.values)
    return Surface(before.values, after.values, change, changed, unknown, 0, as_stored, raw_after, axes)


def _entered(delta: MapDelta, here: MapState, unit: str) -> Surface:
    """Only the change is known: one number for every cell, or a curve or map of changes."""
    given, percent = delta.subject.entered_change, delta.unit == "%" and unit != "%"
    assert given is not None
    if not percent and not _same_unit(delta.unit, unit):
        raise BadInput(f"The change is in {delta.unit or 'no unit'}, the target's map in {unit or 'no unit'}.")
    outside = 0
    if given.ndim == 0:
        change = np.full(here.values.shape, float(given))
    else:
        axes = delta.axes_after
        nothing, whole = MapState(np.zeros(given.shape), axes), MapState(given, axes)
        if len(axes) != len(here.axes) or not axes:
            raise BadInput("The target's map has another shape than the change that was written down.")
        grid = grid_at(nothing, whole, None, [axis.values for axis in here.axes])
        if grid is None:
            raise BadInput("An axis of the change neither rises nor falls.")
        change, outside = grid.change, int(np.count_nonzero(~grid.covered))
    unknown = np.isnan(change)
    nowhere = np.zeros(change.shape, np.bool_)
    values = here.values
    return Surface(
        values,
        values,
        change,
        (change != 0) & ~unknown,
        unknown,
        outside,
        nowhere,
        None,
        {},
        "percent" if percent else "change",
    )


def _in_units_of(state: MapState, unit: str, table: MapTable) -> MapState:
    """A state with values and breakpoints in the target's units."""
    if len(state.axes) != len(table.axes):
        has = counted(len(table.axes), "axis", "axes")
        raise BadInput(f"The target's map {table.name!r} has {has}, the change {len(state.axes)}.")
    axes = tuple(
        DeltaAxis(
            axis.name, here.unit, _converted(axis.values, axis.unit, here.unit, f"axis {axis.name!r}"), axis.decimals
        )
        for axis, here in zip(state.axes, table.axes, strict=True)
    )
    return replace(state, values=_converted(state.values, unit, table.unit, f"map {table.name!r}"), axes=tuple(axes))


def _converted(values: Floats, unit: str, wanted: str, what: str) -> Floats:
    if _same_unit(unit, wanted):
        return values
    source, target = parse_unit(unit), parse_unit(wanted)
    if source is None or target is None or source.quantity != target.quantity:
        raise BadInput(
            f"The {what} is in {unit or 'no unit'} in the change and in {wanted or 'no unit'} in the target."
        )
    return np.asarray(convert(np.asarray(values, np.float64), source.symbol, target.symbol))


def _same_unit(unit: str, other: str) -> bool:
    if unit.strip() == other.strip():
        return True
    known, wanted = parse_unit(unit), parse_unit(other)
    return known is not None and known is wanted
