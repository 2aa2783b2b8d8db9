"""Images of control units: boot block, program, texts, tables, learned values, checksums, empty flash."""

from collections.abc import Mapping

import numpy as np

from seed_data.block_sums import write_sum
from seed_data.shapes import rounded
from seed_data.software import HIDDEN_CELLS, Software
from seed_data.stream import normal, random_bytes, words32
from seed_data.tables import Content, pack, shared_axis_record, stock_content, table_record

_TEXTS = (
    "torque monitor: set value above permitted value",
    "charge pressure plausibility",
    "accelerator pedal: tracks disagree",
    "injector bank 1 feedback",
    "supply voltage out of range",
    "message from brake unit missing",
    "variant coding invalid",
    "reset cause: watchdog",
    "immobiliser: release pending",
    "learned values cleared",
)


class ImageMaker:
    """Makes every image of one software version; the part that never changes is made once."""

    def __init__(self, software: Software) -> None:
        self.software = software
        self._stock = self._blank()
        self._fill_hidden(self._stock)
        self._write_tables(self._stock, {table.name: stock_content(table) for table in software.tables})
        self._write_learned(self._stock, "as found")
        for block in software.sums:
            write_sum(self._stock, block, software.order)

    @property
    def stock(self) -> bytes:
        """The image as the maker delivered it."""
        return bytes(self._stock)

    def image(
        self,
        contents: Mapping[str, Content],
        hidden_cells: Mapping[tuple[str, int], int] | None = None,
        *,
        sums: bool = True,
    ) -> bytes:
        """Stock with other table contents, checksums recomputed unless `sums` is false.

        `hidden_cells` sets cells of undescribed tables: ("hidden 3", cell number) → raw value.
        """
        image = bytearray(self._stock)
        self._write_tables(image, contents)
        for (name, cell), raw in (hidden_cells or {}).items():
            at = self.software.places[name] + 2 * cell
            image[at : at + 2] = raw.to_bytes(2, self.software.order)
        if sums:
            for block in self.software.sums:
                write_sum(image, block, self.software.order)
        return bytes(image)

    def with_learned_values(self, image: bytes, name: str) -> bytes:
        """The image as read back after the unit has run: its own learned values have moved."""
        changed = bytearray(image)
        self._write_learned(changed, name)
        return bytes(changed)

    def hidden_cell(self, name: str, cell: int) -> int:
        """Raw stock value of a cell of an undescribed table."""
        at = self.software.places[name] + 2 * cell
        return int.from_bytes(self._stock[at : at + 2], self.software.order)

    def _blank(self) -> bytearray:
        software = self.software
        image = bytearray(b"\xff" * software.size)
        image[: software.boot_end] = program_bytes(f"{software.key} boot", software.boot_end, software.order)
        header = f"BOOT {software.hardware_number}".encode().ljust(32, b"\0")
        image[:32] = header
        entry = software.base + 0x100
        vectors = [entry + 24 * k for k in range(56)]
        image[32:256] = pack(vectors, "u32", software.order)
        program = software.code_end - software.boot_end
        code = program_bytes(f"{software.key} program", program, software.order)
        image[software.boot_end : software.code_end] = code
        self._write_texts(image)
        start, end = software.calibration, software.calibration_end
        image[start:end] = bytes(end - start)
        identity = f"{software.software_number}|{software.calibration_id}|{software.key}"
        image[start : start + 0x80] = identity.encode().ljust(0x80, b"\0")
        return image

    def _write_texts(self, image: bytearray) -> None:
        """Messages in a row near the end of the program, as compilers place them."""
        texts = "\0".join(f"{k:04d} {text}" for k, text in enumerate(_TEXTS * 12)).encode() + b"\0"
        at = self.software.code_end - len(texts) - 256
        image[at : at + len(texts)] = texts

    def _fill_hidden(self, image: bytearray) -> None:
        """Undescribed tables: smooth 16-bit numbers, so that they look like what lies around them."""
        for name, at in self.software.places.items():
            if name.startswith("hidden"):
                knots = normal(f"{self.software.key} {name}", 9)
                points = [(20.0 * k, 9000.0 + 1700.0 * value) for k, value in enumerate(knots)]
                raw = [round(rounded(points, float(k))) for k in range(HIDDEN_CELLS)]
                image[at : at + 2 * HIDDEN_CELLS] = pack(raw, "u16", self.software.order)

    def _write_tables(self, image: bytearray, contents: Mapping[str, Content]) -> None:
        software = self.software
        for axis in software.shared_axes:
            record = shared_axis_record(axis, software.order)
            at = software.places[axis.name]
            image[at : at + len(record)] = record
        for name, content in contents.items():
            record = table_record(software.table(name), content, software.order)
            at = software.places[name]
            image[at : at + len(record)] = record

    def _write_learned(self, image: bytearray, name: str) -> None:
        start, end = self.software.adaptation
        image[start:end] = b"\xff" * (end - start)
        learned = [round(16384 + 300 * value) for value in normal(f"{self.software.key} learned {name}", 96)]
        image[start : start + 192] = pack(learned, "u16", self.software.order)


def program_bytes(name: str, count: int, order: str) -> bytes:
    """Bytes that look like a program: frequent and rare 32-bit words, operands, gaps between functions."""
    words = (count + 3) // 4
    draw = words32(name, words)
    dictionary = words32(f"{name} words", 4096)
    high = draw >> np.uint32(16)
    chosen = dictionary[(high * high) >> np.uint32(20)]
    operand = np.where(draw & np.uint32(1), (draw >> np.uint32(1)) & np.uint32(0xFFF), np.uint32(0))
    code = chosen ^ operand
    marks = np.frombuffer(random_bytes(f"{name} gaps", words // 400 + 1), dtype=np.uint8).astype(np.int64)
    starts = np.arange(len(marks)) * 400 + marks
    for step in range(3):
        code[np.minimum(starts + step, words - 1)] = 0
    raw: bytes = code.astype(">u4" if order == "big" else "<u4").tobytes()
    return raw[:count]
