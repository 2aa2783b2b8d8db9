"""The prepared read of many maps: what to gather, how to convert it, and which tables to build from it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.axis_points import differences_summed, evenly_spaced, rescaled
from app.calc.calibration.datatype import storage
from app.calc.calibration.decimals import decimals_of
from app.calc.calibration.gather import Cells, Gather
from app.calc.calibration.image import Image
from app.calc.calibration.layout import IDENTICAL, MapDefinition, bit_shift
from app.calc.calibration.map_table import AxisTable, MapTable
from app.calc.calibration.placement import PlacedAxis, PlacedMap, Placement
from app.calc.calibration.scaling import Scaling


@dataclass(frozen=True, slots=True)
class _Reading:
    """Raw and physical arrays of all rectangles of one read."""

    gather: Gather
    raw: list[NDArray[Any]]
    physical: list[NDArray[np.float64]]

    def pair(self, k: int) -> tuple[NDArray[Any], NDArray[np.float64]]:
        group, start, end = self.gather.slots[k]
        shape = self.gather.grids[k].shape
        return self.raw[group][start:end].reshape(shape), self.physical[group][start:end].reshape(shape)


@dataclass(frozen=True, slots=True)
class _Conversions:
    """A gather and what turns its numbers into physical values, in as few array operations as it takes."""

    gather: Gather
    spans: tuple[tuple[int, int, int, int, Scaling], ...]

    @classmethod
    def of(cls, wanted: list[tuple[Cells, int, Scaling]], placement: Placement) -> "_Conversions":
        keys = [(mask, id(scaling)) for _, mask, scaling in wanted]
        gather = Gather.of((cells for cells, _, _ in wanted), placement.spans, keys)
        spans: list[tuple[int, int, int, int, Scaling]] = []
        for (group, start, end), (_, mask, scaling) in sorted(
            zip(gather.slots, wanted, strict=True), key=lambda pair: pair[0]
        ):
            if spans and spans[-1][0] == group and spans[-1][3] == mask and spans[-1][4] is scaling:
                start = spans.pop()[1]
            spans.append((group, start, end, mask, scaling))
        return cls(gather, tuple(spans))

    def read(self, image: Image) -> _Reading:
        raw = self.gather.read(image.payload)
        physical = [np.empty(array.shape, dtype=np.float64) for array in raw]
        for group, start, end, mask, scaling in self.spans:
            cells = raw[group][start:end]
            if mask:
                cells[:] = (cells & mask) >> bit_shift(mask)
            physical[group][start:end] = scaling.to_physical(cells)
        for array in (*raw, *physical):
            array.flags.writeable = False
        return _Reading(self.gather, raw, physical)


@dataclass(frozen=True, slots=True)
class _AxisStep:
    """How one axis table is made. `at` are the rectangles it needs; `table` is ready for a fixed axis."""

    placed: PlacedAxis
    at: tuple[int, ...]
    decimals: int
    table: AxisTable | None = None

    def build(self, reading: _Reading) -> AxisTable:
        if self.table is not None:
            return self.table
        if self.placed.cells is None:
            return self.computed(reading)
        raw, values = reading.pair(self.at[0])
        axis, cells = self.placed.definition, self.placed.cells
        if axis.differences:
            values = axis.scaling.to_physical(differences_summed(raw, self.placed.descending))
        addresses = reading.gather.grids[self.at[0]]
        return AxisTable(
            axis.name, axis.scaling.unit, values, raw, addresses, cells.itemsize, cells.byte_order,
            cells.data_type, self.decimals, axis,
        )  # fmt: skip

    def computed(self, reading: _Reading) -> AxisTable:
        roles = [role for role, _ in self.placed.parameters]
        stored = dict(zip(roles, (reading.pair(k)[0] for k in self.at), strict=True))
        if "rescale" in stored:
            cells = self.placed.parameters[roles.index("rescale")][1]
            points = rescaled(stored["rescale"], self.placed.count, cells.data_type)
        else:
            step = float(stored["distance"][0]) if "distance" in stored else 1.0
            if "shift" in stored:
                step = float(2.0 ** np.clip(stored["shift"][0], -64, 64))
            offset = float(stored["offset"][0]) if "offset" in stored else 0.0
            points = evenly_spaced(offset, step, self.placed.count)
        return _unstored(self.placed, points, self.decimals)


def _unstored(placed: PlacedAxis, points: NDArray[np.float64], decimals: int) -> AxisTable:
    axis = placed.definition
    values = axis.scaling.to_physical(points)
    values.flags.writeable = False
    size = storage(axis.data_type).itemsize
    return AxisTable(
        axis.name,
        axis.scaling.unit,
        values,
        None,
        None,
        size,
        axis.byte_order,
        axis.data_type,
        decimals,
        axis,
    )


@dataclass(frozen=True, slots=True)
class _MapStep:
    """How one map table is made: its rectangle, its axes' steps, and what does not depend on the image."""

    definition: MapDefinition
    at: int
    axes: tuple[int, ...]
    itemsize: int
    raw_min: float
    raw_max: float
    decimals: int

    def build(self, reading: _Reading, axes: list[AxisTable]) -> MapTable:
        d = self.definition
        raw, physical = reading.pair(self.at)
        return MapTable(
            d.name, d.kind, d.category, d.scaling.unit, tuple([axes[k] for k in self.axes]), raw, physical,
            reading.gather.grids[self.at], self.itemsize, d.byte_order, self.raw_min, self.raw_max, d,
            self.decimals, _text(raw) if d.kind == "text" else None,
        )  # fmt: skip


def _text(raw: NDArray[Any]) -> str:
    return bytes((raw & 0xFF).astype(np.uint8)).split(b"\0", 1)[0].decode("latin-1")


class _Builder:
    """Collects rectangles and steps; an axis table that several maps share is made once."""

    def __init__(self) -> None:
        self.wanted: list[tuple[Cells, int, Scaling]] = []
        self.axis_steps: list[_AxisStep] = []
        self.known: dict[tuple[object, ...], int] = {}

    def rectangle(self, cells: Cells, mask: int, scaling: Scaling) -> int:
        self.wanted.append((cells, mask, scaling))
        return len(self.wanted) - 1

    def axis(self, placed: PlacedAxis) -> int:
        parts = [placed.cells, *(cells for _, cells in placed.parameters)]
        key = (placed.definition.name, id(placed.definition.scaling), *map(id, parts))
        if placed.definition.place == "fixed" or key not in self.known:
            self.known[key] = len(self.axis_steps)
            self.axis_steps.append(self.axis_step(placed))
        return self.known[key]

    def axis_step(self, placed: PlacedAxis) -> _AxisStep:
        axis = placed.definition
        data_type = placed.cells.data_type if placed.cells else axis.data_type
        decimals = decimals_of(axis.scaling, data_type)
        if axis.place == "fixed":
            points = np.array(axis.values[: placed.count], dtype=np.float64)
            return _AxisStep(placed, (), decimals, _unstored(placed, points, decimals))
        if placed.cells is None:
            at = tuple(self.rectangle(cells, 0, IDENTICAL) for _, cells in placed.parameters)
            return _AxisStep(placed, at, decimals)
        scaling = IDENTICAL if axis.differences else axis.scaling
        return _AxisStep(placed, (self.rectangle(placed.cells, 0, scaling),), decimals)

    def map(self, placed: PlacedMap) -> _MapStep:
        d = placed.definition
        at = self.rectangle(placed.values, d.bit_mask, d.scaling)
        low, high = d.raw_limits
        decimals = decimals_of(d.scaling, d.data_type, d.decimals)
        axes = tuple(self.axis(axis) for axis in placed.axes)
        return _MapStep(d, at, axes, placed.values.itemsize, low, high, decimals)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that is the same for all images of one placement; reading one is then a few array calls."""

    conversions: _Conversions
    axis_steps: tuple[_AxisStep, ...]
    map_steps: tuple[_MapStep, ...]

    @classmethod
    def of(cls, maps: list[PlacedMap], axes: list[PlacedAxis], placement: Placement) -> "Plan":
        """Prepare reading these maps, and these axes first."""
        builder = _Builder()
        for axis in axes:
            builder.axis(axis)
        map_steps = tuple(builder.map(placed) for placed in maps)
        conversions = _Conversions.of(builder.wanted, placement)
        return cls(conversions, tuple(builder.axis_steps), map_steps)

    def tables(self, image: Image) -> tuple[list[AxisTable], dict[str, MapTable]]:
        """Tables of all axes in the order they were asked for, and of all maps by name."""
        reading = self.conversions.read(image)
        axes = [step.build(reading) for step in self.axis_steps]
        return axes, {step.definition.name: step.build(reading, axes) for step in self.map_steps}
