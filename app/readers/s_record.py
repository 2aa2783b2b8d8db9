"""S-record files: “StLLAA…[DD…]CC”, all bytes of a record add up to 255 modulo 256.

Source of the format: Motorola, M68000 Family Programmer's Reference Manual, appendix C. Stricter than it in these
points: the terminating record must be there, be the last and have the address width of the data, the number in a
count record must be true, no address may be given twice, and no record may run past its address width.
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

# Address bytes by record type S0 … S9; 0 = there is no such record.
_ADDRESS_BYTES = np.array([2, 2, 3, 4, 0, 2, 3, 4, 3, 2])
_SHORTEST = 4
_NO_DATA = (5, 6, 7, 8, 9)


@dataclass(frozen=True, slots=True)
class SRecordFile:
    """What an S-record file holds."""

    image: Image
    header: str | None
    start_address: int
    notes: tuple[str, ...]


def read_s_record(data: bytes) -> SRecordFile:
    """Read an S-record file; BadInput names the line, what was expected and what was found."""
    lines = split_lines(data)
    records = decode_lines(lines, b"S", 2, _SHORTEST)
    n = len(records)
    kind = lines.text[lines.start[:n] + 1].astype(np.int64) - ord("0")
    known = (kind >= 0) & (kind <= 9)
    kind = np.where(known, kind, 4)
    width = _ADDRESS_BYTES[kind]
    address = _addresses(records, width)
    size = records.size - width - 2
    is_data = (kind >= 1) & (kind <= 3)
    data_before: Ints = np.cumsum(is_data) - is_data
    widest = np.maximum.accumulate(np.where(is_data, kind, 0))
    bad = _faults(records, kind, width, size, address) | (
        ((kind == 5) | (kind == 6)) & (address != data_before) | (kind >= 7) & (widest > 0) & (kind != 10 - widest)
    )
    _refuse_faults(lines, kind, bad, data_before, widest)
    carries = is_data & (size > 0)
    if not carries.any():
        raise BadInput("Expected at least one data record, found none; the file holds no image.", where="line 1")
    payload = payload_of(records, carries, width + 1)
    image = assemble(address[carries], size[carries], lines.number[carries], payload)
    return SRecordFile(image, _header(records, kind), int(address[-1]), lines.notes)


def _addresses(records: Records, width: Ints) -> Ints:
    """Address field of each record (the count in S5 and S6)."""
    address = np.zeros(len(records), dtype=np.int64)
    last = len(records.raw) - 1
    for k in range(4):
        here = records.raw[np.minimum(records.offset + 1 + k, last)] if len(records) else 0
        address = np.where(k < width, address << 8 | here, address)
    return address


def _faults(records: Records, kind: Ints, width: Ints, size: Ints, address: Ints) -> Mask:
    """Records that contradict themselves."""
    bad: Mask = (records.byte(0) + 1 != records.size) | (records.sums() != 0xFF) | (width == 0) | (size < 0)
    bad |= np.isin(kind, _NO_DATA) & (size > 0)
    bad |= (kind >= 1) & (kind <= 3) & (address + size > (1 << 8 * width))
    return bad


def _refuse_faults(lines: Lines, kind: Ints, bad: Mask, data_before: Ints, widest: Ints) -> None:
    """Raise for the first faulty line, a line after the terminating record, or a missing terminating record."""
    faulty = first(bad)
    stop = len(bad) if faulty is None else faulty
    end = first(kind[:stop] >= 7)
    if end is not None and end + 1 < len(lines):
        found = f"a further record after the one in {lines.where(end)}"
        raise refusal(lines.where(end + 1), "the terminating record to be the last", found)
    if stop < len(lines):
        state = (0, 0) if faulty is None else (int(data_before[stop]), int(widest[stop]))
        expected, found = explain(lines.line(stop), *state)
        raise refusal(lines.where(stop), expected, found)
    if end is None:
        last = lines.where(len(lines) - 1) if len(lines) else "line 1"
        raise refusal(last, "a terminating record S7, S8 or S9 after the data", "the end of the file")


def explain(line: bytes, data_before: int = 0, widest: int = 0) -> tuple[str, str]:
    """(expected, found) of the first thing wrong with one line, after `data_before` data records of which the
    widest was of type S`widest`."""
    undecoded = undecodable("S-record", line, b"S", 2, _SHORTEST)
    if undecoded is not None:
        return undecoded
    mark, record = line[1:2], bytes.fromhex(line[2:].decode("ascii"))
    if mark not in b"012356789":
        return "a record type S0 to S3 or S5 to S9", f"S{mark.decode('ascii', 'replace')}"
    kind = int(mark)
    if record[0] != len(record) - 1:
        return f"{counted(record[0], 'byte')} after the count as the record says", f"{len(record) - 1}"
    if sum(record) % 256 != 0xFF:
        return f"checksum {~sum(record[:-1]) & 0xFF:02X}", f"{record[-1]:02X}"
    width = int(_ADDRESS_BYTES[kind])
    size = len(record) - width - 2
    if size < 0:
        return f"{width} address bytes in an S{kind} record", f"{len(record) - 2}"
    if kind in _NO_DATA and size:
        return f"no data in an S{kind} record", counted(size, "byte")
    address = int.from_bytes(record[1 : 1 + width])
    if kind in (5, 6):
        return f"{counted(address, 'data record')} before the S{kind} record as it says", f"{data_before}"
    if kind >= 7:
        return f"S{10 - widest} to end S{widest} data", f"S{kind}"
    last = (1 << 8 * width) - 1
    return f"the data to end at {last:X} or before", f"{counted(size, 'byte')} from {address:X} on"


def _header(records: Records, kind: Ints) -> str | None:
    """Text of the first S0 record, or None."""
    k = first(kind == 0)
    if k is None:
        return None
    start = int(records.offset[k])
    text = records.raw[start + 3 : start + int(records.size[k]) - 1].tobytes().rstrip(b"\0").decode("latin-1")
    return "".join(c if c.isprintable() else "·" for c in text)
