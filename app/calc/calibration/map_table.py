"""Decoded maps: stored numbers, physical values and addresses side by side."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.datatype import ByteOrder, DataType
from app.calc.calibration.layout import AxisDefinition, Category, MapDefinition, MapKind


@dataclass(frozen=True, slots=True)
class AxisTable:
    """Breakpoints of one axis.

    values : float64 (n,) physical. raw : int64, uint64 or float64 (n,), None for a fixed or computed axis.
    addresses : int64 (n,) of each breakpoint's first byte, None likewise.
    """

    name: str
    unit: str
    values: NDArray[np.float64]
    raw: NDArray[Any] | None
    addresses: NDArray[np.int64] | None
    itemsize: int
    byte_order: ByteOrder
    data_type: DataType
    decimals: int
    definition: AxisDefinition


@dataclass(frozen=True, slots=True)
class MapTable:
    """One decoded map.

    raw : int64 (uint64 for uint64 cells, float64 for float cells). physical : float64, NaN where the conversion
    has no value. addresses : int64, of each cell's first byte. All three of shape () | (nx,) | (ny, nx), row y,
    column x.
    raw_min, raw_max : what a cell can hold. text : for the kind "text", up to the first zero byte.
    """

    name: str
    kind: MapKind
    category: Category
    unit: str
    axes: tuple[AxisTable, ...]
    raw: NDArray[Any]
    physical: NDArray[np.float64]
    addresses: NDArray[np.int64]
    itemsize: int
    byte_order: ByteOrder
    raw_min: float
    raw_max: float
    definition: MapDefinition
    decimals: int
    text: str | None = None

    @property
    def data_type(self) -> DataType:
        """Data type of a cell."""
        return self.definition.data_type

    @property
    def labels(self) -> list[str]:
        """For a conversion with texts: the text of each cell in reading order."""
        return self.definition.scaling.labels(self.raw)
