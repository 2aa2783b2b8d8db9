"""How a number lies in an image: width, sign, byte order."""

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from app.errors import BadInput

DataType = Literal[
    "uint8", "int8", "uint16", "int16", "uint32", "int32", "uint64", "int64", "float16", "float32", "float64"
]
ByteOrder = Literal["big", "little"]

DATA_TYPES: tuple[DataType, ...] = get_args(DataType)
BYTE_ORDERS: tuple[ByteOrder, ...] = get_args(ByteOrder)


@dataclass(frozen=True, slots=True)
class Storage:
    """What a data type can hold; `big` and `little` are the numpy types as stored in an image."""

    name: DataType
    itemsize: int
    is_float: bool
    minimum: float
    maximum: float
    big: "np.dtype[Any]"
    little: "np.dtype[Any]"

    def dtype(self, byte_order: ByteOrder) -> "np.dtype[Any]":
        """The numpy type of a stored cell."""
        return self.big if byte_order == "big" else self.little


def _storage(name: DataType) -> Storage:
    dtype = np.dtype(name)
    floating = dtype.kind == "f"
    limits = np.finfo(dtype) if floating else np.iinfo(dtype)
    low, high = (float(limits.min), float(limits.max)) if floating else (int(limits.min), int(limits.max))
    return Storage(name, dtype.itemsize, floating, low, high, dtype.newbyteorder(">"), dtype.newbyteorder("<"))


STORAGE: dict[DataType, Storage] = {name: _storage(name) for name in DATA_TYPES}


def storage(name: DataType) -> Storage:
    """The storage of a data type; BadInput for a name that is none."""
    try:
        return STORAGE[name]
    except (KeyError, TypeError):
        raise BadInput(f"{name!r} is no data type; allowed are {', '.join(DATA_TYPES)}.", field="data_type") from None
