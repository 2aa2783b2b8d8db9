"""One software version of a control unit: its memory plan, its tables and where each of them lies."""

from dataclasses import dataclass
from functools import cached_property

from seed_data.block_sums import BlockSum
from seed_data.tables import Axis, ByteOrder, Table, shared_axis_record, stock_content, table_record

# Tables nobody described: cells of 16 bits between the described ones.
HIDDEN_CELLS = 160


@dataclass(frozen=True)
class Software:
    """What is the same in every image of one software version.

    Parameters
    ----------
    size : bytes of the whole image; `base` is the address of its first byte in the control unit.
    boot_end, code_end : offsets where the boot block and the program end.
    calibration, calibration_end : offsets between which the tables lie; the last 16 bytes are for checksums.
    adaptation : offsets between which the unit itself keeps what it learned.
    """

    key: str
    hardware_number: str
    software_number: str
    calibration_id: str
    order: ByteOrder
    size: int
    base: int
    boot_end: int
    code_end: int
    calibration: int
    calibration_end: int
    adaptation: tuple[int, int]
    tables: tuple[Table, ...]
    sums: tuple[BlockSum, ...]

    @cached_property
    def shared_axes(self) -> tuple[Axis, ...]:
        """Axes stored once, in order of first use."""
        found: dict[str, Axis] = {}
        for table in self.tables:
            for axis in (table.x, table.y):
                if axis is not None and axis.shared:
                    found.setdefault(axis.name, axis)
        return tuple(found.values())

    @cached_property
    def places(self) -> dict[str, int]:
        """Offset of each shared axis, table ("name") and undescribed table ("hidden 1") in the image."""
        at = self.calibration + 0x80
        places: dict[str, int] = {}
        for axis in self.shared_axes:
            places[axis.name] = at
            at = _next(at + len(shared_axis_record(axis, self.order)))
        group = ""
        for table in self.tables:
            if table.group != group:
                group = table.group
                places[f"hidden {sum(name.startswith('hidden') for name in places) + 1}"] = at
                at = _next(at + 2 * HIDDEN_CELLS)
            places[table.name] = at
            at = _next(at + len(table_record(table, stock_content(table), self.order)))
        if at > self.calibration_end - 16:
            raise ValueError(f"{self.key}: tables need {at - self.calibration} bytes")
        return places

    def table(self, name: str) -> Table:
        """The table called `name`."""
        return next(table for table in self.tables if table.name == name)


def _next(offset: int) -> int:
    """The next multiple of four, with a gap as linkers leave it."""
    return (offset + 3) // 4 * 4 + 4
