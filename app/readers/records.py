"""Text files of checked records, one a line: what Intel HEX and S-record files have in common.

Lines are decoded together with numpy; only the first faulty line is looked at by itself, to say what is wrong
with it. Cost is linear in the size of the file whatever the addresses are: nothing is ever filled between parts.
"""

import binascii
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from app.calc.calibration.image import Image, Segment
from app.errors import BadInput, TooLarge

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

MAX_LINES = 2_500_000
MAX_SEGMENTS = 16_384

_HEX_DIGIT = np.zeros(256, dtype=np.bool_)
_HEX_DIGIT[list(b"0123456789abcdefABCDEF")] = True


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of a text that are not blank: `text[start[k]:end[k]]` is line `number[k]` (1-based) of the file."""

    text: Bytes
    start: Ints
    end: Ints
    number: Ints
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.start)

    def line(self, k: int) -> bytes:
        """The bytes of the k-th line."""
        return self.text[self.start[k] : self.end[k]].tobytes()

    def where(self, k: int) -> str:
        """The place of the k-th line for a message."""
        return f"line {self.number[k]}"


@dataclass(frozen=True, slots=True)
class Records:
    """Decoded bytes of the first lines of a file: record k is `raw[offset[k]:offset[k] + size[k]]`.

    `len(offset)` may be less than the number of lines: the next line then cannot be decoded at all.
    """

    raw: Bytes
    offset: Ints
    size: Ints

    def __len__(self) -> int:
        return len(self.offset)

    def byte(self, at: int) -> Ints:
        """The byte at position `at` of every record."""
        return self.raw[self.offset + at].astype(np.int64)

    def sums(self) -> Bytes:
        """Sum of all bytes of every record, modulo 256."""
        if not len(self):
            return np.zeros(0, dtype=np.uint8)
        return np.add.reduceat(self.raw, self.offset, dtype=np.uint8)


def split_lines(data: bytes) -> Lines:
    """Lines ending in LF, CR LF or CR, without the blank ones and without one 0x1A (the old mark of the end of a
    text) after the last; TooLarge beyond MAX_LINES."""
    notes = []
    mark = data.rfind(b"\x1a")
    if mark >= 0 and not data[mark + 1 :].strip(b"\r\n"):
        data = data[:mark]
        notes.append("The end-of-text mark 0x1A after the last record was left out.")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    text = np.frombuffer(data, dtype=np.uint8)
    is_break = text == ord("\n")
    if np.count_nonzero(is_break) > MAX_LINES:
        raise TooLarge(f"The file has more than {MAX_LINES:,} lines; write it with at least 16 bytes in each record.")
    breaks = np.flatnonzero(is_break)
    start = np.concatenate(([0], breaks + 1))
    end = np.concatenate((breaks, [len(text)]))
    filled = np.flatnonzero(end > start)
    if blank := int(filled[-1]) + 1 - len(filled) if len(filled) else 0:
        notes.append("1 blank line was left out." if blank == 1 else f"{blank:,} blank lines were left out.")
    return Lines(text, start[filled], end[filled], filled + 1, tuple(notes))


def first(bad: Mask) -> int | None:
    """Index of the first True."""
    k = int(bad.argmax()) if bad.size else 0
    return k if bad.size and bad[k] else None


def decode_lines(lines: Lines, mark: bytes, skip: int, shortest: int) -> Records:
    """Decode the hex digits after `skip` leading characters of each line, up to the first line that has none to
    decode: another first character than `mark`, an odd number of digits, fewer than `shortest` bytes or more than
    a record can have, or a character that is no hex digit."""
    digits = lines.end - lines.start - skip
    broken = lines.text[lines.start] != mark[0]
    broken |= (digits % 2 != 0) | (digits < 2 * shortest) | (digits > 2 * 260)
    faulty = first(broken)
    stop = len(lines) if faulty is None else faulty
    keep = lines.text != ord("\n")
    for k in range(skip):
        keep[lines.start[:stop] + k] = False
    size = digits[:stop] // 2
    try:
        raw = _unhex(lines, keep, stop)
    except binascii.Error:
        other = keep & ~_HEX_DIGIT[lines.text]
        stop = int(np.searchsorted(lines.start, int(other.argmax()), side="right")) - 1
        raw, size = _unhex(lines, keep, stop), size[:stop]
    return Records(raw, np.cumsum(size) - size, size)


def _unhex(lines: Lines, keep: Mask, stop: int) -> Bytes:
    """Bytes of the hex digits that are kept in the first `stop` lines."""
    length = int(lines.end[stop - 1]) if stop else 0
    return np.frombuffer(binascii.unhexlify(lines.text[:length][keep[:length]].data), dtype=np.uint8)


def payload_of(records: Records, carries: Mask, head: Ints) -> bytes:
    """Data bytes of the records that carry data, in file order: without `head` leading bytes and the checksum."""
    keep = np.repeat(carries, records.size)
    start, head = records.offset[carries], head[carries]
    for k in range(int(head.max())):
        keep[start[head > k] + k] = False
    keep[start + records.size[carries] - 1] = False
    return records.raw[keep].tobytes()


def assemble(address: Ints, size: Ints, number: Ints, payload: bytes) -> Image:
    """Put data records in address order and join those that touch.

    Parameters
    ----------
    address, size, number : first address, data bytes (> 0) and line number of each data record, in file order.
    payload : their data bytes in file order.

    BadInput when two records overlap (both lines named) or when there are more than MAX_SEGMENTS separate parts.
    """
    after = address + size
    begins = np.flatnonzero(np.concatenate(([True], address[1:] != after[:-1])))
    ends = np.concatenate((begins[1:], [len(address)])) - 1
    at = np.cumsum(size) - size
    order = np.argsort(address[begins], kind="stable")
    low, high = address[begins][order], after[ends][order]
    clash = first(low[1:] < high[:-1])
    if clash is not None:
        runs = [(int(begins[r]), int(ends[r])) for r in order[clash : clash + 2]]
        raise _overlap(address, after, number, int(low[clash + 1]), runs)
    parts = np.flatnonzero(np.concatenate(([True], low[1:] != high[:-1])))
    if len(parts) > MAX_SEGMENTS:
        raise TooLarge(
            f"The file scatters its bytes over {len(parts):,} separate places, more than {MAX_SEGMENTS:,}; "
            f"this is no calibration image."
        )
    cuts = [payload[a:b] for a, b in zip(at[begins][order].tolist(), (at + size)[ends][order].tolist(), strict=True)]
    edges = [*parts.tolist(), len(cuts)]
    return Image(
        tuple(Segment(int(low[a]), cuts[a] if b == a + 1 else b"".join(cuts[a:b])) for a, b in pairwise(edges))
    )


def _overlap(address: Ints, after: Ints, number: Ints, where: int, runs: Iterable[tuple[int, int]]) -> BadInput:
    """The error for two runs of records that both give the byte at `where`."""
    lines = sorted(
        int(number[a + np.flatnonzero((address[a : b + 1] <= where) & (where < after[a : b + 1]))[0]]) for a, b in runs
    )
    return BadInput(
        f"Expected each address once, found 0x{where:X} given by line {lines[0]} and again by line {lines[1]}; "
        f"export the image again.",
        where=f"line {lines[1]}",
    )


def shown(text: bytes, limit: int = 16) -> str:
    """Bytes of a file for a message: printable, short."""
    cut = text[:limit].decode("ascii", "backslashreplace")
    safe = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in cut)
    return f"“{safe}{'…' if len(text) > limit else ''}”"


def undecodable(kind: str, line: bytes, mark: bytes, skip: int, shortest: int) -> tuple[str, str] | None:
    """(expected, found) of a line that `decode_lines` stops at; None when it can be decoded."""
    if line[:1] != mark:
        return f"“{mark.decode()}” at the start of the {kind}", shown(line)
    digits = line[skip:]
    if len(digits) > 2 * 260:
        return f"at most 520 hex digits in the {kind}", f"{len(digits):,}"
    for column, value in enumerate(digits, start=skip + 1):
        if not _HEX_DIGIT[value]:
            return f"a hex digit in column {column}", shown(bytes([value]))
    if len(digits) % 2:
        return f"an even number of hex digits in the {kind}", f"{len(digits)}"
    if len(digits) < 2 * shortest:
        return f"at least {2 * shortest} hex digits in the {kind}", f"{len(digits)}"
    return None


def refusal(where: str, expected: str, found: str) -> BadInput:
    """The error for one faulty line."""
    return BadInput(
        f"Expected {expected}, found {found}; the file is damaged or incomplete, get it again from its source.",
        where=where,
    )
