"""Intel HEX files: “:LLAAAATT[DD…]CC”, all bytes of a record add up to 0 modulo 256.

Source of the format: Intel, Hexadecimal Object File Format Specification, revision A, 1988. Stricter than it in
these points, each of which is a damaged file more often than an intended one: the end record must be there and be
the last, no address may be given twice, and a record may not run past offset FFFF of its 64 KiB.
"""

from dataclasses import dataclass

import numpy as np

from app.calc.calibration.image import Image
from app.calc.number_text import counted
from app.errors import BadInput
from app.readers.records import (
    Ints,
    Lines,
    Mask,
    Records,
    assemble,
    decode_lines,
    first,
    payload_of,
    refusal,
    split_lines,
    undecodable,
)

DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR = range(6)
# Data bytes that a record of each type must have; -1 = any number.
_LENGTH = np.array([-1, 0, 2, 4, 2, 4])
_SHORTEST = 5


@dataclass(frozen=True, slots=True)
class HexFile:
    """What an Intel HEX file holds."""

    image: Image
    start_address: int | None
    notes: tuple[str, ...]


def read_intel_hex(data: bytes) -> HexFile:
    """Read an Intel HEX file; BadInput names the line, what was expected and what was found."""
    lines = split_lines(data)
    records = decode_lines(lines, b":", 1, _SHORTEST)
    count, kind = records.byte(0), records.byte(3)
    offset = records.byte(1) << 8 | records.byte(2)
    _refuse_faults(lines, kind, _faults(records, count, kind, offset))
    carries = (kind == DATA) & (count > 0)
    if not carries.any():
        raise BadInput("Expected at least one data record, found none; the file holds no image.", where="line 1")
    address = (_base(records, kind) + offset)[carries]
    payload = payload_of(records, carries, np.full(len(records), 4))
    image = assemble(address, count[carries], lines.number[carries], payload)
    return HexFile(image, _start_address(records, kind), lines.notes)


def _faults(records: Records, count: Ints, kind: Ints, offset: Ints) -> Mask:
    """Records that contradict themselves."""
    wanted = _LENGTH[np.minimum(kind, 5)]
    bad: Mask = (count + _SHORTEST != records.size) | (records.sums() != 0) | (kind > START_LINEAR)
    bad |= (wanted >= 0) & (wanted != count)
    bad |= (kind == DATA) & (offset + count > 0x10000)
    return bad


def _refuse_faults(lines: Lines, kind: Ints, bad: Mask) -> None:
    """Raise for the first faulty line, a line after the end record, or a missing end record."""
    faulty = first(bad)
    stop = len(bad) if faulty is None else faulty
    end = first(kind[:stop] == END)
    if end is not None and end + 1 < len(lines):
        found = f"a further record after the one in {lines.where(end)}"
        raise refusal(lines.where(end + 1), "the end record to be the last", found)
    if stop < len(lines):
        expected, found = explain(lines.line(stop))
        raise refusal(lines.where(stop), expected, found)
    if end is None:
        last = lines.where(len(lines) - 1) if len(lines) else "line 1"
        raise refusal(last, "the end record “:00000001FF” after the data", "the end of the file")


def explain(line: bytes) -> tuple[str, str]:
    """(expected, found) of the first thing wrong with one line."""
    undecoded = undecodable("Intel HEX record", line, b":", 1, _SHORTEST)
    if undecoded is not None:
        return undecoded
    record = bytes.fromhex(line[1:].decode("ascii"))
    count, offset, kind, data = record[0], int.from_bytes(record[1:3]), record[3], record[4:-1]
    if count != len(data):
        return f"{counted(count, 'data byte')} as the record says", f"{len(data)}"
    if sum(record) % 256:
        return f"checksum {-sum(record[:-1]) % 256:02X}", f"{record[-1]:02X}"
    if kind > START_LINEAR:
        return "a record type from 00 to 05", f"{kind:02X}"
    if _LENGTH[kind] >= 0 and count != _LENGTH[kind]:
        return f"{_LENGTH[kind]} data bytes in a record of type {kind:02X}", f"{count}"
    return "the data to end at offset FFFF of its 64 KiB", f"{counted(count, 'byte')} from {offset:04X} on"


def _value(records: Records, where: Ints, size: int) -> Ints:
    """Big-endian number in the data bytes of the records at index `where`."""
    value = np.zeros(len(where), dtype=np.int64)
    for k in range(size):
        value = value << 8 | records.raw[records.offset[where] + 4 + k]
    return value


def _base(records: Records, kind: Ints) -> Ints:
    """Address base in force at each record: set by the last type 02 (· 16) or type 04 (· 65536) before it."""
    sets = (kind == SEGMENT) | (kind == LINEAR)
    setters = np.flatnonzero(sets)
    bases: Ints = np.concatenate(([0], _value(records, setters, 2) << np.where(kind[setters] == LINEAR, 16, 4)))
    in_force: Ints = bases[np.cumsum(sets)]
    return in_force


def _start_address(records: Records, kind: Ints) -> int | None:
    """Where the last start record points to: CS · 16 + IP of type 03, EIP of type 05."""
    setters = np.flatnonzero((kind == START_SEGMENT) | (kind == START_LINEAR))
    if not len(setters):
        return None
    value = int(_value(records, setters[-1:], 4)[0])
    return value if kind[setters[-1]] == START_LINEAR else (value >> 16) * 16 + (value & 0xFFFF)
