"""A calibration image: bytes at addresses, kept as segments, never padded to one block."""

import hashlib
import zlib
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from app.calc.number_text import counted
from app.errors import BadInput


@dataclass(frozen=True, slots=True)
class Segment:
    """Contiguous bytes from `address` on."""

    address: int
    data: bytes

    @property
    def end(self) -> int:
        """First address after the segment."""
        return self.address + len(self.data)


@dataclass(frozen=True)
class Image:
    """Segments in address order, without overlap; touching segments are one.

    The digest is SHA-256 over the segments' bytes in address order, so that for an image of one segment it equals
    what any checksum program prints for the raw binary file. Where the bytes lie is kept in `spans`: two images
    are the same only when digest and spans both are.

    >>> image = Image.of([(0x10, b"cd"), (0x0, b"ab"), (0x2, b"x")])
    >>> image.spans
    ((0, 3), (16, 2))
    >>> image.read(0x10, 2)
    b'cd'
    """

    segments: tuple[Segment, ...]

    @classmethod
    def of(cls, parts: Iterable[tuple[int, bytes]]) -> "Image":
        """Sort and join (address, bytes) parts; overlapping parts raise BadInput with the address."""
        groups: list[tuple[int, list[bytes]]] = []
        end = -1
        for address, data in sorted((a, d) for a, d in parts if d):
            if address < end:
                raise BadInput(
                    f"Two parts of the image overlap at 0x{address:X}; export it again from the reading tool.",
                    where=f"address 0x{address:X}",
                )
            if groups and address == end:
                groups[-1][1].append(data)
            else:
                groups.append((address, [data]))
            end = address + len(data)
        return cls(tuple(Segment(a, p[0] if len(p) == 1 else b"".join(p)) for a, p in groups))

    @classmethod
    def from_spans(cls, spans: Iterable[tuple[int, int]], payload: bytes) -> "Image":
        """Rebuild from stored (address, length) spans and the bytes in address order."""
        segments, at = [], 0
        for address, length in spans:
            segments.append(Segment(address, payload if length == len(payload) else payload[at : at + length]))
            at += length
        if at != len(payload):
            raise BadInput(f"The image holds {len(payload)} bytes, its address list speaks of {at}.")
        return cls(tuple(segments))

    @property
    def size(self) -> int:
        """Number of bytes in all segments."""
        return sum(len(s.data) for s in self.segments)

    @property
    def spans(self) -> tuple[tuple[int, int], ...]:
        """(address, length) of each segment."""
        return tuple((s.address, len(s.data)) for s in self.segments)

    @cached_property
    def payload(self) -> bytes:
        """All bytes in address order; no copy for an image of one segment."""
        if len(self.segments) == 1:
            return self.segments[0].data
        return b"".join(s.data for s in self.segments)

    @cached_property
    def digest(self) -> str:
        """SHA-256 (FIPS 180-4) of the payload, lower-case hex."""
        return hashlib.sha256(self.payload).hexdigest()

    @cached_property
    def crc32(self) -> int:
        """CRC-32/ISO-HDLC of the payload, the one people read out on the phone."""
        return zlib.crc32(self.payload)

    @cached_property
    def _starts(self) -> list[int]:
        return [s.address for s in self.segments]

    def segment_at(self, address: int) -> Segment | None:
        """The segment that holds `address`, or None."""
        k = bisect_right(self._starts, address) - 1
        return self.segments[k] if k >= 0 and address < self.segments[k].end else None

    def covers(self, address: int, length: int) -> bool:
        """True when all of [address, address + length) lies in one segment."""
        segment = self.segment_at(address)
        return segment is not None and address + length <= segment.end

    def read(self, address: int, length: int) -> bytes:
        """`length` bytes from `address`; BadInput when the image does not hold them."""
        segment = self.segment_at(address)
        if segment is None or address + length > segment.end:
            raise BadInput(
                f"The image holds no {length} bytes at 0x{address:X}; check the layout's address base.",
                where=f"address 0x{address:X}",
            )
        start = address - segment.address
        return segment.data[start : start + length]

    def patched(self, changes: Iterable[tuple[int, bytes]]) -> "Image":
        """A copy with bytes replaced at addresses the image holds; BadInput for any other address."""
        copies: dict[int, bytearray] = {}
        for address, data in changes:
            segment = self.segment_at(address)
            if segment is None or address + len(data) > segment.end:
                raise BadInput(
                    f"Cannot write {counted(len(data), 'byte')} at 0x{address:X}: "
                    "the image does not hold that address.",
                    where=f"address 0x{address:X}",
                )
            copy = copies.setdefault(segment.address, bytearray(segment.data))
            start = address - segment.address
            copy[start : start + len(data)] = data
        return Image(
            tuple(Segment(s.address, bytes(copies[s.address])) if s.address in copies else s for s in self.segments)
        )
