"""Runs of changed cells and the numbers that make new cells from old ones, as bytes and back.

Every run follows one of several rules, held in a table:

    rule 0     new = old + number
    rule 1     new = old + (sum of all numbers of rule 1 up to here)
    rule k+2   new = old + old * ratios[k] / 2**20, rounded to the nearest, + constants[k] + number

all modulo 2**8 or 2**16. The arithmetic is on integers, so that every machine gives the same bytes.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.errors import Damaged

Int64Array = NDArray[np.int64]

RATIO_BITS = 20
SUMMED = 1
FIRST_RATIO = 2
MOST_RATIOS = 253

_LONGEST_VARINT = 5
_HALF = 1 << (RATIO_BITS - 1)
SIGNED_LIMIT = (1 << 31) - 1


def varint(number: int) -> bytes:
    """A number from 0 on in groups of 7 bits, lowest first.

    >>> varint(300).hex()
    'ac02'
    """
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)
    return bytes(out)


class Cursor:
    """Reading forward through bytes; anything beyond their end is Damaged."""

    __slots__ = ("at", "data")

    def __init__(self, data: bytes, at: int) -> None:
        self.data, self.at = data, at

    def varint(self) -> int:
        """The next number; Damaged when it is cut off or longer than five bytes."""
        number, data, at = 0, self.data, self.at
        for k, byte in enumerate(data[at : at + _LONGEST_VARINT]):
            number |= (byte & 0x7F) << (7 * k)
            if byte < 0x80:
                self.at = at + k + 1
                return number
        raise Damaged("A stored difference is cut off inside a number.")

    def take(self, size: int) -> bytes:
        """The next `size` bytes."""
        end = self.at + size
        if end > len(self.data):
            raise Damaged("A stored difference is cut off inside its table of runs.")
        found = self.data[self.at : end]
        self.at = end
        return found

    def rest(self) -> bytes:
        """Everything that has not been read."""
        return self.data[self.at :]


def _planes(numbers: Int64Array, first: int, end: int) -> bytes:
    """Bytes `first` to `end` (exclusive, 0 is the lowest) of all numbers, one byte's plane after the other."""
    return numbers.astype("<i8").view(np.uint8).reshape(-1, 8)[:, first:end].T.tobytes()


def _needed(numbers: Int64Array) -> int:
    """Planes that hold the largest of some numbers from 0 on."""
    return max(1, -(-int(numbers.max()).bit_length() // 8))


@dataclass(frozen=True, slots=True)
class Runs:
    """Changed cells of one size in a payload.

    starts, lengths : int64 (n,), in cells from the payload's start; runs ascend and do not overlap.
    rules : int64 (n,), below 256. ratios, constants : int64 (k,), at most SIGNED_LIMIT either way.
    numbers : int64, one for each cell of each run.
    """

    itemsize: int
    big_endian: bool
    starts: Int64Array
    lengths: Int64Array
    rules: Int64Array
    lines: Int64Array
    numbers: Int64Array

    def pack(self) -> bytes:
        """Counts and flags, then each column plane by plane; one zero byte when there are no runs."""
        if self.starts.size == 0:
            return varint(0)
        first = int(self.starts[0])
        gaps, lengths = np.diff(self.starts, prepend=first), self.lengths - 1
        gaps[1:] -= self.lengths[:-1]
        gap_planes, length_planes = _needed(gaps), _needed(lengths)
        curved = self.lines.shape[1] > FIRST_RATIO
        flags = gap_planes - 1 | (length_planes - 1) << 2 | self.big_endian << 4 | curved << 5
        return b"".join(
            (
                varint(self.starts.size),
                varint(first),
                bytes((flags, self.lines.shape[1])),
                _planes(gaps, 0, 1),
                _planes(lengths, 0, 1),
                _planes(self.rules, 0, 1),
                _planes(gaps, 1, gap_planes),
                _planes(lengths, 1, length_planes),
                self.lines.astype("<i4").tobytes() if curved else b"",
                _planes(self.numbers, 0, self.itemsize),
            )
        )


class PackedRuns(NamedTuple):
    """What `Runs.pack` wrote, taken apart but not yet turned into numbers. Planes are lowest first.

    shift : sum of all gaps and `first`, the position the last run would have if all runs were empty.
    ratios, constants : little-endian int32, one for each rule; empty when all are 0.
    """

    run_count: int
    cells: int
    first: int
    shift: int
    big_endian: bool
    rule_count: int
    gaps: list[bytes]
    lengths: list[bytes]
    rules: bytes
    ratios: bytes
    constants: bytes
    numbers: list[bytes]


def read_packed(cursor: Cursor, payload_size: int, itemsize: int) -> PackedRuns | None:
    """The next packed runs; None when there are none; Damaged when they do not fit the payload.

    Only Python's own sums are used: a few microseconds, and nothing is allocated before it is known to fit.
    """
    count = cursor.varint()
    if count == 0:
        return None
    first, (flags, rule_count) = cursor.varint(), cursor.take(2)
    gaps, lengths, rules = [cursor.take(count)], [cursor.take(count)], cursor.take(count)
    gaps += [cursor.take(count) for _ in range(flags & 3)]
    lengths += [cursor.take(count) for _ in range(flags >> 2 & 3)]
    shift = first + sum(sum(plane) << 8 * k for k, plane in enumerate(gaps))
    cells = count + sum(sum(plane) << 8 * k for k, plane in enumerate(lengths))
    if shift + cells > payload_size // itemsize or flags >> 6:
        raise Damaged("A stored difference has a run beyond the end of the payload.")
    if max(rules) >= rule_count:
        raise Damaged("A stored difference names a rule that it does not have.")
    curved = 4 * rule_count if flags & 32 else 0
    ratios, constants = cursor.take(curved), cursor.take(curved)
    numbers = [cursor.take(cells) for _ in range(itemsize)]
    return PackedRuns(
        count, cells, first, shift, flags & 16 != 0, rule_count, gaps, lengths, rules, ratios, constants, numbers
    )


def cell_type(itemsize: int, big_endian: bool) -> "np.dtype[Any]":
    """The numpy type of a cell of 1 or 2 bytes."""
    return np.dtype(np.uint8) if itemsize == 1 else np.dtype(">u2" if big_endian else "<u2")


def predicted(old: Int64Array, rules: Int64Array, lengths: Int64Array, lines: NDArray[Any]) -> Int64Array:
    """What each cell's rule adds to it before its number. `lines` are ratio and constant (2, number of rules)."""
    ratio, constant = lines[:, rules].repeat(lengths, axis=1)
    change = raised(old, ratio)
    change += constant
    return change


def raised(old: NDArray[Any], ratio: Int64Array) -> Int64Array:
    """old * ratio / 2**20, rounded to the nearest, a half upward."""
    change: Int64Array = ratio * old
    change += _HALF
    change >>= RATIO_BITS
    return change
