"""Checksums of very many ranges at once, from prefixes computed once.

A kernel belongs to one stretch of addresses in several images and to a set of positions in it. It gives the value
of every (start, end) pair of positions without touching the bytes between them again:

* sums: differences of running totals;
* Fletcher, Adler: differences of running totals of dᵢ and i·dᵢ;
* CRC: the register after a range is P(end) ⊕ P(start)·x^(8·length) in GF(2)[x]/poly. With Q(p) = P(p)·x^(−8p) it is
  (Q(end) ⊕ Q(start))·x^(8·end), so that start and end separate.

Values are in a kernel's own domain (for a CRC the register, most significant bit = highest power); `domain` takes
stored values there. Source of the CRC algebra: W. W. Peterson, D. T. Brown, Proc. IRE 49 (1961), 228.
"""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from app.calc.calibration.checksum_algorithms import Algorithm, ByteOrder, as_words

Ints = npt.NDArray[np.int64]
Values = npt.NDArray[np.uint64]
Mask = npt.NDArray[np.bool_]

ONE = np.uint64(1)


class Kernel(Protocol):
    """What the search asks of a kernel. `image` counts the images; starts, ends … are indices of positions."""

    def domain(self, model: Algorithm, stored: Values) -> Values:
        """Stored values where this kernel's values live."""

    def spans(self, model: Algorithm, image: int, starts: Ints, ends: Ints) -> Values:
        """Values of all ranges: shape (starts, ends)."""

    def tails(self, model: Algorithm, image: int, starts: Ints, ends: Ints, stored: Values) -> Mask:
        """Where the range from a start to an end gives the value `stored` belonging to that end."""

    def inside(
        self, model: Algorithm, image: int, start: int, end: int, low: Ints, high: Ints
    ) -> tuple[Values, Values | None]:
        """Values of one range with the bytes [low, high) taken as zero, and with them left out (None: the same)."""


class SumKernel:
    """Additive sums and the RFC 1071 sum over words of `unit` bytes; positions are multiples of the unit."""

    def __init__(self, parts: Sequence[memoryview], positions: Ints, unit: int, byte_order: ByteOrder) -> None:
        self._totals = [_totals(as_words(part, unit, byte_order), positions // unit) for part in parts]

    def domain(self, model: Algorithm, stored: Values) -> Values:
        return stored

    def spans(self, model: Algorithm, image: int, starts: Ints, ends: Ints) -> Values:
        totals = self._totals[image]
        return _finish(model, totals[ends][None, :] - totals[starts][:, None])

    def tails(self, model: Algorithm, image: int, starts: Ints, ends: Ints, stored: Values) -> Mask:
        equal: Mask = self.spans(model, image, starts, ends) == stored
        return equal

    def inside(
        self, model: Algorithm, image: int, start: int, end: int, low: Ints, high: Ints
    ) -> tuple[Values, Values | None]:
        totals = self._totals[image]
        return _finish(model, totals[end] - totals[start] - (totals[high] - totals[low])), None


def _totals(words: npt.NDArray[np.unsignedinteger], at: Ints) -> Values:
    """Sum of the words before each index."""
    running = np.zeros(len(words) + 1, dtype=np.uint64)
    np.cumsum(words, dtype=np.uint64, out=running[1:])
    return running[np.minimum(at, len(words))]


def _finish(model: Algorithm, total: Values) -> Values:
    mask = np.uint64((1 << model.width) - 1)
    if model.family == "end-around-carry":
        folded = np.where(total > 0, (total - ONE) % np.uint64(0xFFFF) + ONE, np.uint64(0))
        return ~folded & mask
    total = total + np.uint64(model.init)
    if model.complement == "one's":
        return ~total & mask
    if model.complement == "two's":
        return (~total + ONE) & mask
    return total & mask


class DoubleSumKernel:
    """Fletcher and Adler-32: sums of the words and of the running sums, modulo `modulus`."""

    def __init__(self, model: Algorithm, parts: Sequence[memoryview], positions: Ints, byte_order: ByteOrder) -> None:
        half = model.width // 2
        self._modulus = np.uint64(65521 if model.family == "adler" else (1 << half) - 1)
        self._half = np.uint64(half)
        self._at = (positions // model.unit).astype(np.uint64)
        self._first, self._weighted = [], []
        for part in parts:
            words = as_words(part, model.unit, byte_order)
            weights = np.arange(len(words), dtype=np.uint64) % self._modulus
            weights *= words
            self._first.append(_totals(words, positions // model.unit) % self._modulus)
            self._weighted.append(_totals(weights, positions // model.unit) % self._modulus)

    def domain(self, model: Algorithm, stored: Values) -> Values:
        return stored

    def _value(self, model: Algorithm, end: Values, length: Values, first: Values, weighted: Values) -> Values:
        """From Σd and Σi·d of a range; the second sum is Σ(end − i)·d plus what the start value adds."""
        m = self._modulus
        low, high = np.uint64(model.init & (1 << int(self._half)) - 1), np.uint64(model.init >> int(self._half))
        second = (end % m * (first % m) + (m - weighted % m) + length % m * low + high) % m
        value: Values = second << self._half | (first + low) % m
        return value

    def spans(self, model: Algorithm, image: int, starts: Ints, ends: Ints) -> Values:
        m, a, b = self._modulus, self._first[image], self._weighted[image]
        end, start = self._at[ends][None, :], self._at[starts][:, None]
        first = a[ends][None, :] + (m - a[starts])[:, None]
        weighted = b[ends][None, :] + (m - b[starts])[:, None]
        return self._value(model, end, np.where(end > start, end - start, np.uint64(0)), first, weighted)

    def tails(self, model: Algorithm, image: int, starts: Ints, ends: Ints, stored: Values) -> Mask:
        equal: Mask = self.spans(model, image, starts, ends) == stored
        return equal

    def inside(
        self, model: Algorithm, image: int, start: int, end: int, low: Ints, high: Ints
    ) -> tuple[Values, Values | None]:
        m, a, b = self._modulus, self._first[image], self._weighted[image]
        first = a[end] + (m - a[start]) + a[low] + (m - a[high])
        weighted = b[end] + (m - b[start]) + b[low] + (m - b[high])
        return self._value(model, self._at[end], self._at[end] - self._at[start], first, weighted), None


class CrcKernel:
    """All CRCs of one polynomial and one bit order of the input."""

    def __init__(self, model: Algorithm, parts: Sequence[memoryview], positions: Ints) -> None:
        self._field = Field(model.width, model.poly)
        self._raw = Algorithm(model.name, "crc", model.width, poly=model.poly, refin=model.refin, refout=model.refin)
        self._shrink = self._field.powers(self._field.inverse_of_x, 8 * positions)
        self._grow = self._field.powers(2, 8 * positions)
        self._q = [self._field.times(self._prefixes(part, positions), self._shrink) for part in parts]
        gap = self._field.powers(self._field.inverse_of_x, np.array([8 * model.size]))
        self._gap = self._field.table(gap)
        self._q_closed = [self._closed(q) for q in self._q]
        self._tables: dict[bytes, Values] = {}
        self._inits: dict[int, Values] = {}

    def _prefixes(self, part: memoryview, positions: Ints) -> Values:
        """Register with start value zero after the bytes before each position."""
        engine = self._raw.engine(0)
        register, at, found = 0, 0, []
        for position in positions.tolist():
            if position > at:
                register = engine.calc(part[at:position], register)
                at = position
            found.append(register)
        values = np.array(found, dtype=np.uint64)
        return self._field.reflected(values) if self._raw.refout else values

    def domain(self, model: Algorithm, stored: Values) -> Values:
        value = (stored & self._field.mask) ^ np.uint64(model.xorout)
        return self._field.reflected(value) if model.refout else value

    def _opened(self, model: Algorithm, image: int, starts: Ints) -> Values:
        """Q of the starts with the start value taken in."""
        if model.init not in self._inits:
            init = np.full(len(self._shrink), model.init, dtype=np.uint64)
            self._inits[model.init] = self._field.times(init, self._shrink)
        return self._q[image][starts] ^ self._inits[model.init][starts]

    def spans(self, model: Algorithm, image: int, starts: Ints, ends: Ints) -> Values:
        mixed = self._opened(model, image, starts)[:, None] ^ self._q[image][ends][None, :]
        return self._field.looked_up(mixed, self._table(ends))

    def tails(self, model: Algorithm, image: int, starts: Ints, ends: Ints, stored: Values) -> Mask:
        needed = self._field.times(stored, self._shrink[ends]) ^ self._q[image][ends]
        equal: Mask = self._opened(model, image, starts)[:, None] == needed[None, :]
        return equal

    def inside(
        self, model: Algorithm, image: int, start: int, end: int, low: Ints, high: Ints
    ) -> tuple[Values, Values | None]:
        q = self._q[image]
        opened = self._opened(model, image, np.array([start]))
        table = self._table(np.array([end]))
        zeroed = opened ^ q[end] ^ q[low] ^ q[high]
        left_out = self._closed(opened)[0] ^ self._q_closed[image][low] ^ q[end] ^ q[high]
        grown = [self._field.looked_up(value[:, None], table)[:, 0] for value in (zeroed, left_out)]
        return grown[0], grown[1]

    def _closed(self, values: Values) -> Values:
        """Values moved by the width of the checksum, as if its bytes were not there."""
        return self._field.looked_up(values[:, None], self._gap)[:, 0]

    def _table(self, ends: Ints) -> Values:
        key = ends.tobytes()
        if key not in self._tables:
            self._tables[key] = self._field.table(self._grow[ends])
        return self._tables[key]


class Field:
    """Arithmetic of GF(2)[x] modulo a polynomial of degree `width`, on arrays of registers."""

    def __init__(self, width: int, poly: int) -> None:
        self.width = width
        self.mask = np.uint64((1 << width) - 1)
        self._poly = np.uint64(poly)
        self._top = np.uint64(1 << (width - 1))
        # poly = x·h + 1 for every polynomial with a constant term, so h is the inverse of x.
        self.inverse_of_x = (1 << width | poly) >> 1

    def _times_x(self, a: Values) -> Values:
        return (a << ONE & self.mask) ^ np.where(a & self._top, self._poly, np.uint64(0))

    def times(self, a: Values, b: Values) -> Values:
        """Products, element by element."""
        product = np.zeros(np.broadcast_shapes(a.shape, b.shape), dtype=np.uint64)
        for k in range(self.width):
            product ^= np.where(b >> np.uint64(k) & ONE, a, np.uint64(0))
            a = self._times_x(a)
        return product

    def powers(self, base: int, exponents: Ints) -> Values:
        """base to each exponent ≥ 0, by squaring."""
        result = np.ones(len(exponents), dtype=np.uint64)
        square, left = base, exponents
        while left.any():
            grown = self.looked_up(result[:, None], self.table(np.array([square], dtype=np.uint64)))[:, 0]
            result = np.where(left & 1, grown, result)
            square, left = self._squared(square), left >> 1
        return result

    def _squared(self, a: int) -> int:
        """a², one number: its bits spread to the even places, then reduced."""
        spread = int("0".join(f"{a:b}"), 2)
        whole = int(self._poly) | 1 << self.width
        while (excess := spread.bit_length() - self.width - 1) >= 0:
            spread ^= whole << excess
        return spread

    def table(self, factors: Values) -> Values:
        """For each factor and byte position the products with all 256 bytes: shape (bytes, factors, 256)."""
        count = (self.width + 7) // 8
        tables = np.zeros((count, len(factors), 256), dtype=np.uint64)
        row = factors
        for k in range(count):
            for bit in range(8):
                half = 1 << bit
                tables[k, :, half : 2 * half] = tables[k, :, :half] ^ row[:, None]
                row = self._times_x(row)
        return tables

    def looked_up(self, values: Values, table: Values) -> Values:
        """values[s, e] times the factor e of the table."""
        columns = np.arange(values.shape[1])[None, :]
        product: Values = table[0][columns, (values & np.uint64(255)).astype(np.intp)]
        for k in range(1, len(table)):
            product ^= table[k][columns, (values >> np.uint64(8 * k) & np.uint64(255)).astype(np.intp)]
        return product

    def reflected(self, values: Values) -> Values:
        """The bits in reverse order."""
        turned = _REVERSED_BYTE[values.astype("<u8").view(np.uint8).reshape(*values.shape, 8)][..., ::-1]
        whole = np.ascontiguousarray(turned).view("<u8")[..., 0].astype(np.uint64)
        turned_down: Values = whole >> np.uint64(64 - self.width)
        return turned_down


_REVERSED_BYTE = np.array([int(f"{k:08b}"[::-1], 2) for k in range(256)], dtype=np.uint8)
