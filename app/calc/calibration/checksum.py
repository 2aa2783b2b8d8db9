"""Block checksums of an image: does what is stored equal what the bytes give?

A definition names ranges, an algorithm, and where the control unit keeps the result. The bytes of the ranges
are taken one range after the other, in the order given. When the stored value itself lies inside a range, its
bytes count as zero there: a value cannot be part of what it is computed from.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from app.calc.calibration.checksum_algorithms import ALGORITHMS, Algorithm, ByteOrder, algorithm
from app.calc.calibration.image import Image
from app.errors import BadInput

__all__ = [
    "ALGORITHMS",
    "Algorithm",
    "ChecksumDefinition",
    "ChecksumResult",
    "State",
    "algorithm",
    "evaluate",
    "evaluate_all",
    "recompute",
]

State = Literal["holds", "does not hold", "not known"]


@dataclass(frozen=True, slots=True)
class ChecksumDefinition:
    """A checksum over address ranges, kept at an address.

    Parameters
    ----------
    name : what people call the block.
    algorithm : a name that `algorithm()` knows.
    ranges : (start, end exclusive) addresses, in the order in which the control unit runs through them.
    stored_at : address of the first byte of the stored value.
    byte_order : of the stored value, and of the words that a sum adds.
    start : start value that replaces the algorithm's own, or None.

    BadInput when a part contradicts itself: unknown algorithm, no range, a range that is empty or overlaps
    another, a negative address, a start value wider than the algorithm.
    """

    name: str
    algorithm: str
    ranges: tuple[tuple[int, int], ...]
    stored_at: int
    byte_order: ByteOrder = "big"
    start: int | None = None

    def __post_init__(self) -> None:
        model = algorithm(self.algorithm)
        if not self.ranges:
            raise self._refusal("names no address range; give at least one", "ranges")
        end = 0
        for low, high in sorted(self.ranges):
            if low < 0 or high <= low:
                why = f"has the range 0x{low:X} to 0x{high:X}: empty, the end is the first address after it"
                raise self._refusal(why, "ranges")
            if low < end:
                raise self._refusal(f"has two ranges that overlap at 0x{low:X}", "ranges")
            end = high
        if self.stored_at < 0:
            raise self._refusal("is stored at a negative address", "stored_at")
        if self.byte_order not in ("big", "little"):
            raise self._refusal("needs byte order “big” or “little”", "byte_order")
        if self.start is not None and not 0 <= self.start < 1 << model.width:
            raise self._refusal(f"has a start value that does not fit {model.width} bits", "start")

    def _refusal(self, why: str, field: str) -> BadInput:
        return BadInput(f"The checksum “{self.name}” {why}.", field=field)

    @property
    def model(self) -> Algorithm:
        """The algorithm itself."""
        return algorithm(self.algorithm)

    @property
    def stored_range(self) -> tuple[int, int]:
        """(start, end exclusive) of the stored value."""
        return self.stored_at, self.stored_at + self.model.size

    @property
    def stored_inside(self) -> bool:
        """True when bytes of the stored value lie in a range; they count as zero there."""
        low, high = self.stored_range
        return any(start < high and low < end for start, end in self.ranges)


@dataclass(frozen=True, slots=True)
class ChecksumResult:
    """What became of one checksum in one image.

    `computed` and `stored` are None when the image does not hold the addresses; `reason` then says which.
    """

    name: str
    state: State
    computed: int | None
    stored: int | None
    definition: ChecksumDefinition
    reason: str = ""

    @property
    def digits(self) -> int:
        """Hex digits to show a value with."""
        return 2 * self.definition.model.size


def evaluate(image: Image, definition: ChecksumDefinition) -> ChecksumResult:
    """Compare the stored value with the computed one; never raises for addresses the image does not hold."""
    low, high = definition.stored_range
    for start, end in (*definition.ranges, (low, high)):
        if not image.covers(start, end - start):
            reason = f"the image does not hold all of 0x{start:X} to 0x{end - 1:X}"
            return ChecksumResult(definition.name, "not known", None, None, definition, reason)
    computed = _compute(image, definition)
    stored = int.from_bytes(image.read(low, high - low), definition.byte_order)
    state: State = "holds" if computed == stored else "does not hold"
    return ChecksumResult(definition.name, state, computed, stored, definition)


def evaluate_all(image: Image, definitions: Iterable[ChecksumDefinition]) -> tuple[ChecksumResult, ...]:
    """One result for each definition, in their order."""
    return tuple(evaluate(image, definition) for definition in definitions)


def recompute(image: Image, definition: ChecksumDefinition) -> Image:
    """A copy of the image in which the checksum holds; BadInput when the image lacks its addresses."""
    result = evaluate(image, definition)
    if result.computed is None:
        raise BadInput(
            f"The checksum “{definition.name}” cannot be computed: {result.reason}.",
            where=f"address 0x{definition.stored_at:X}",
        )
    if result.state == "holds":
        return image
    value = result.computed.to_bytes(definition.model.size, definition.byte_order)
    return image.patched([(definition.stored_at, value)])


def _compute(image: Image, definition: ChecksumDefinition) -> int:
    low, high = definition.stored_range
    parts = []
    for start, end in definition.ranges:
        part = image.read(start, end - start)
        inner_low, inner_high = max(low, start), min(high, end)
        if inner_low < inner_high:
            part = part[: inner_low - start] + bytes(inner_high - inner_low) + part[inner_high - start :]
        parts.append(part)
    data = parts[0] if len(parts) == 1 else b"".join(parts)
    return definition.model.compute(data, definition.byte_order, definition.start)
