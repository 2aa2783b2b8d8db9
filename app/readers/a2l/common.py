"""What a module says once for all its items: byte order, alignment, deposit; and the identifier of the software."""

from dataclasses import dataclass, field
from typing import Literal

from app.calc.calibration.datatype import ByteOrder, DataType
from app.errors import BadInput
from app.readers.a2l.cursor import Cursor
from app.readers.a2l.source import Module, Source

LegacyByteOrder = Literal["standard", "as written"]

DATA_TYPES: dict[str, DataType] = {
    "UBYTE": "uint8",
    "SBYTE": "int8",
    "UWORD": "uint16",
    "SWORD": "int16",
    "ULONG": "uint32",
    "SLONG": "int32",
    "A_UINT64": "uint64",
    "A_INT64": "int64",
    "FLOAT16_IEEE": "float16",
    "FLOAT32_IEEE": "float32",
    "FLOAT64_IEEE": "float64",
}
ALIGNED: dict[str, tuple[DataType, ...]] = {
    "ALIGNMENT_BYTE": ("uint8", "int8"),
    "ALIGNMENT_WORD": ("uint16", "int16"),
    "ALIGNMENT_LONG": ("uint32", "int32"),
    "ALIGNMENT_INT64": ("uint64", "int64"),
    "ALIGNMENT_FLOAT16_IEEE": ("float16",),
    "ALIGNMENT_FLOAT32_IEEE": ("float32",),
    "ALIGNMENT_FLOAT64_IEEE": ("float64",),
}
NATURAL: dict[DataType, int] = {
    "uint8": 1, "int8": 1, "uint16": 2, "int16": 2, "float16": 2, "uint32": 4, "int32": 4, "float32": 4,
    "uint64": 8, "int64": 8, "float64": 8,
}  # fmt: skip
_ORDERS: dict[str, ByteOrder] = {"MSB_FIRST": "big", "MSB_LAST": "little"}
_COMMON = {"BYTE_ORDER": 1, "DEPOSIT": 1, "DATA_SIZE": 1, "S_REC_LAYOUT": 1, **dict.fromkeys(ALIGNED, 1)}
_PAR = {
    "ADDR_EPK": 1, "CPU_TYPE": 1, "CUSTOMER": 1, "CUSTOMER_NO": 1, "ECU": 1, "ECU_CALIBRATION_OFFSET": 1, "EPK": 1,
    "NO_OF_INTERFACES": 1, "PHONE_NO": 1, "SUPPLIER": 1, "SYSTEM_CONSTANT": 2, "USER": 1, "VERSION": 1,
}  # fmt: skip
_PAR_BLOCKS = ("MEMORY_SEGMENT", "MEMORY_LAYOUT", "CALIBRATION_METHOD")
_ALLOWED_ALIGNMENTS = (1, 2, 4, 8, 16)


class ByteOrders:
    """The meaning of BYTE_ORDER words, with the person's answer about the two legacy ones."""

    def __init__(self, legacy: LegacyByteOrder | None) -> None:
        self.legacy, self.met_legacy = legacy, False

    def meaning(self, cursor: Cursor) -> ByteOrder:
        """Byte order of the next word; BadInput with field "legacy_byte_order" when a person must decide."""
        word = cursor.choice("byte order", (*_ORDERS, "BIG_ENDIAN", "LITTLE_ENDIAN"))
        if word in _ORDERS:
            return _ORDERS[word]
        self.met_legacy = True
        plain: ByteOrder = "big" if word == "BIG_ENDIAN" else "little"
        reverse: ByteOrder = "little" if plain == "big" else "big"
        if self.legacy is None:
            problem = cursor.bad(
                f"The file says BYTE_ORDER {word}, an old word that programs read in opposite ways: is the "
                f'{"low" if plain == "big" else "high"} byte first ("standard", the reversed meaning the standard '
                'gives it) or does it mean what it says ("as written")?'
            )
            raise BadInput(problem.sentence, field="legacy_byte_order", where=problem.where)
        return reverse if self.legacy == "standard" else plain


@dataclass(slots=True)
class Common:
    """MOD_COMMON and MOD_PAR of one module."""

    byte_order: ByteOrder = "big"
    byte_order_stated: bool = False
    differences: bool = False
    alignment: dict[DataType, int] = field(default_factory=lambda: dict(NATURAL))
    stated: set[DataType] = field(default_factory=set)
    identifier: str | None = None
    identifier_addresses: tuple[int, ...] = ()


def read_common(source: Source, module: Module, orders: ByteOrders, skipped: dict[str, None]) -> Common:
    """Both blocks, each optional."""
    common = Common()
    for block in module.blocks.get("MOD_COMMON", []):
        cursor = Cursor(source, block)
        cursor.text("description")
        for option in cursor.options(_COMMON, (), skipped):
            cursor.go(option)
            if option.keyword == "BYTE_ORDER":
                common.byte_order, common.byte_order_stated = orders.meaning(cursor), True
            elif option.keyword == "DEPOSIT":
                common.differences = deposit(cursor)
            elif option.keyword in ALIGNED:
                value = alignment(cursor)
                for data_type in ALIGNED[option.keyword]:
                    common.alignment[data_type] = value
                    common.stated.add(data_type)
    for block in module.blocks.get("MOD_PAR", []):
        cursor = Cursor(source, block)
        cursor.text("description")
        for option in cursor.options(_PAR, _PAR_BLOCKS, skipped):
            cursor.go(option)
            if option.keyword == "EPK":
                common.identifier = cursor.text("identifier").strip() or None
            elif option.keyword == "ADDR_EPK":
                common.identifier_addresses += (cursor.whole("address"),)
    return common


def deposit(cursor: Cursor) -> bool:
    """True when axis points are stored as differences."""
    return cursor.choice("deposit", ("ABSOLUTE", "DIFFERENCE")) == "DIFFERENCE"


def alignment(cursor: Cursor) -> int:
    """An alignment in bytes."""
    value = cursor.whole("alignment", 0, 16)
    if value not in _ALLOWED_ALIGNMENTS:
        raise cursor.bad(f"{value} is no alignment; allowed are 1, 2, 4, 8 and 16.")
    return value
