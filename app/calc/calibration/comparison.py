"""What changed between two images, explained as far as a layout goes."""

from dataclasses import dataclass, field

from app.calc.calibration.byte_changes import CHECKSUM, EXPLAINED, UNEXPLAINED, ByteChanges
from app.calc.calibration.checksum import ChecksumResult
from app.calc.calibration.map_delta import MapDelta
from app.calc.number_text import counted


@dataclass(frozen=True, slots=True)
class UnexplainedRange:
    """Addresses from `address` on in which bytes changed that no map, axis or checksum explains.

    length : of the range; fewer than 16 unchanged bytes lie between two changed ones. changed : how many changed.
    before, after : all bytes of the range; None where an image does not hold it.
    note : for a range that the control unit rewrites by itself, the layout's reason; else empty.
    """

    address: int
    length: int
    changed: int
    before: bytes | None
    after: bytes | None
    note: str = ""

    @property
    def end(self) -> int:
        """First address after the range."""
        return self.address + self.length


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """All changes from one image to another.

    deltas : maps whose numbers or breakpoints changed, in the layout's order.
    checksums, checksums_before : block checksums of the image after and before.
    changes : every changed byte with its values and what explains it; empty for deltas entered by hand.
    unreadable : (name, reason) of maps that changed bytes touch and that one of the images does not give.
    warnings : sentences that the shop's rules gave.
    """

    deltas: tuple[MapDelta, ...]
    unexplained: tuple[UnexplainedRange, ...]
    checksums: tuple[ChecksumResult, ...]
    checksums_before: tuple[ChecksumResult, ...]
    changes: ByteChanges
    has_layout: bool = True
    unreadable: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = field(default=())

    @property
    def changed_bytes(self) -> int:
        """All changed bytes; explained, checksum and unexplained bytes add up to it."""
        return len(self.changes)

    @property
    def explained_bytes(self) -> int:
        """Changed bytes in cells and breakpoints of `deltas`."""
        return self.changes.count(EXPLAINED)

    @property
    def checksum_bytes(self) -> int:
        """Changed bytes of stored block checksums."""
        return self.changes.count(CHECKSUM)

    @property
    def unexplained_bytes(self) -> int:
        """Changed bytes that nothing explains."""
        return self.changes.count(UNEXPLAINED)

    @property
    def identical(self) -> bool:
        """True when not one byte differs and no change was entered by hand."""
        return not self.deltas and not self.changed_bytes

    def delta(self, name: str) -> MapDelta | None:
        """The change of one map, if it changed."""
        return next((delta for delta in self.deltas if delta.name == name), None)

    @property
    def sentence(self) -> str:
        """Everything in one sentence.

        "7 maps changed, 2 limiters, 96 bytes unexplained, 1 block checksum does not hold."
        """
        if self.identical:
            parts = ["Nothing changed"]
        elif not self.has_layout:
            parts = [f"{counted(self.changed_bytes, 'byte')} changed, no layout explains them"]
        else:
            parts = [f"{counted(len(self.deltas), 'map') if self.deltas else 'No map'} changed"]
            limiters = sum(delta.category == "limiter" for delta in self.deltas)
            if limiters:
                parts.append(counted(limiters, "limiter"))
            if self.unexplained_bytes:
                parts.append(f"{counted(self.unexplained_bytes, 'byte')} unexplained")
        broken = sum(result.state == "does not hold" for result in self.checksums)
        unknown = sum(result.state == "not known" for result in self.checksums)
        if broken:
            parts.append(f"{counted(broken, 'block checksum')} {'does' if broken == 1 else 'do'} not hold")
        if unknown:
            parts.append(f"{counted(unknown, 'block checksum')} not known")
        return ", ".join(parts) + "."
