"""The bytes in which two images differ, one by one, and what explains each: the exact part of a delta."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.byte_ranges import ByteRanges, ChangedRanges, Int64Array, runs
from app.calc.calibration.image import Image
from app.errors import BadInput

UNEXPLAINED, EXPLAINED, CHECKSUM = 0, 1, 2
ABSENT = -1


@dataclass(frozen=True, slots=True, eq=False)
class ByteChanges:
    """Changed bytes in address order.

    addresses : int64 (n,). before, after : int16 (n,), ABSENT where the image does not hold the address.
    kind : int8 (n,), UNEXPLAINED, EXPLAINED or CHECKSUM.
    """

    addresses: Int64Array
    before: NDArray[np.int16]
    after: NDArray[np.int16]
    kind: NDArray[np.int8]

    @classmethod
    def between(cls, before: Image, after: Image, changed: ChangedRanges) -> "ByteChanges":
        """All changed bytes of two images, none explained yet."""
        addresses = changed.all.addresses()
        return cls(
            addresses,
            _bytes_at(before, addresses, changed.added),
            _bytes_at(after, addresses, changed.removed),
            np.zeros(addresses.size, np.int8),
        )

    def __len__(self) -> int:
        return self.addresses.size

    def count(self, kind: int) -> int:
        """Number of bytes of one kind."""
        return int(np.count_nonzero(self.kind == kind))

    def where(self, chosen: NDArray[np.bool_]) -> "ByteChanges":
        """Only the chosen bytes."""
        return ByteChanges(self.addresses[chosen], self.before[chosen], self.after[chosen], self.kind[chosen])

    def same_as(self, other: "ByteChanges") -> bool:
        """True when both list the same bytes with the same values and kinds."""
        return (
            np.array_equal(self.addresses, other.addresses)
            and np.array_equal(self.before, other.before)
            and np.array_equal(self.after, other.after)
            and np.array_equal(self.kind, other.kind)
        )

    def inverted(self) -> "ByteChanges":
        """The change back."""
        return ByteChanges(self.addresses, self.after, self.before, self.kind)

    def then(self, later: "ByteChanges") -> "ByteChanges":
        """This change and a later one as one; bytes that end as they began are left out.

        BadInput when the later one does not begin where this one ends.
        """
        addresses = np.union1d(self.addresses, later.addresses)
        mine, theirs = np.isin(addresses, self.addresses), np.isin(addresses, later.addresses)
        before, after = np.empty(addresses.size, np.int16), np.empty(addresses.size, np.int16)
        after[mine], before[theirs] = self.after, later.before
        both = mine & theirs
        if (after[both] != before[both]).any():
            at = int(addresses[both][after[both] != before[both]][0])
            raise BadInput(
                f"The second change expects another byte at 0x{at:X} than the first one leaves there.",
                where=f"address 0x{at:X}",
            )
        before[mine], after[theirs] = self.before, later.after
        kind = np.empty(addresses.size, np.int8)
        kind[theirs] = later.kind
        kind[mine] = self.kind
        kind[both] = np.maximum(self.kind[np.isin(self.addresses, addresses[both])], kind[both])
        return ByteChanges(addresses, before, after, kind).where(before != after)

    def applied(self, image: Image) -> Image:
        """`image` with these changes; BadInput when it does not hold the bytes that they start from."""
        stays = (self.before != ABSENT) & (self.after != ABSENT)
        changed = image.patched(_checked(image, self.where(stays)))
        if stays.all():
            return changed
        removed, added = self.where(self.after == ABSENT), self.where(self.before == ABSENT)
        return Image.of([*_without(changed, removed), *_new(image, added)])


def explained_by(changes: ByteChanges, ranges: ByteRanges, kind: int) -> None:
    """Mark the bytes inside `ranges` (disjoint, ascending) as of this kind, unless they have a kind already."""
    if not len(ranges) or not len(changes):
        return
    at = np.searchsorted(ranges.starts, changes.addresses, side="right") - 1
    inside = (at >= 0) & (changes.addresses < ranges.ends[at])
    changes.kind[inside & (changes.kind == UNEXPLAINED)] = kind


def _bytes_at(image: Image, addresses: Int64Array, missing: ByteRanges) -> NDArray[np.int16]:
    starts = np.array([s.address for s in image.segments], np.int64)
    if starts.size == 1 and not len(missing):
        octets: NDArray[np.int16] = np.frombuffer(image.payload, np.uint8)[addresses - starts[0]].astype(np.int16)
        return octets
    found = np.full(addresses.size, ABSENT, np.int16)
    offsets = np.cumsum([0, *(len(s.data) for s in image.segments)])[:-1]
    ends = np.array([s.end for s in image.segments], np.int64)
    if starts.size:
        at = np.searchsorted(starts, addresses, side="right") - 1
        held = (at >= 0) & (addresses < ends[at])
        places = addresses[held] - starts[at[held]] + offsets[at[held]]
        found[held] = np.frombuffer(image.payload, np.uint8)[places]
    return found


def _checked(image: Image, changes: ByteChanges) -> Iterator[tuple[int, bytes]]:
    """(address, new bytes) of each run, after a look at the old ones."""
    for start, old, new in pieces(changes):
        assert old is not None and new is not None
        if not image.covers(start, len(old)) or image.read(start, len(old)) != old:
            raise BadInput(
                f"The image is not the one this change starts from: it differs from 0x{start:X} on.",
                where=f"address 0x{start:X}",
            )
        yield start, new


def pieces(changes: ByteChanges) -> Iterator[tuple[int, bytes | None, bytes | None]]:
    """(address, bytes before, bytes after) of runs without gaps; None where an image does not hold them.

    Runs also end where a kind ends and where one image begins or stops holding the addresses.
    """
    if not len(changes):
        return
    old, new = changes.before, changes.after
    same = (np.diff(changes.addresses) == 1) & (np.diff(changes.kind) == 0)
    same &= (np.diff(old == ABSENT) == 0) & (np.diff(new == ABSENT) == 0)
    cuts = [0, *(np.flatnonzero(~same) + 1).tolist(), len(changes)]
    before, after = old.astype(np.uint8).tobytes(), new.astype(np.uint8).tobytes()
    for first, end in pairwise(cuts):
        yield (
            int(changes.addresses[first]),
            None if old[first] == ABSENT else before[first:end],
            None if new[first] == ABSENT else after[first:end],
        )


def _without(image: Image, removed: ByteChanges) -> Iterator[tuple[int, bytes]]:
    for start, old, _ in pieces(removed):
        assert old is not None
        if not image.covers(start, len(old)) or image.read(start, len(old)) != old:
            raise BadInput(f"The image does not hold what this change removes at 0x{start:X}.")
    gone = runs(removed.addresses)
    for segment in image.segments:
        for start, end in ByteRanges.of([(segment.address, segment.end)]).minus(gone):
            yield start, segment.data[start - segment.address : end - segment.address]


def _new(image: Image, added: ByteChanges) -> Iterator[tuple[int, bytes]]:
    for start, _, new in pieces(added):
        assert new is not None
        if any(start < s.end and s.address < start + len(new) for s in image.segments):
            raise BadInput(f"The image already holds bytes at 0x{start:X} that this change adds.")
        yield start, new
