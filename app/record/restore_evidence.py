"""What closes a step of a restore: one kind of evidence per dataclass, as a person hands it in."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.calc.calibration.image import Image
from app.calc.restore.plan import Evidence as StepEvidence
from app.calc.restore.verdicts import Part
from app.calc.vehicle.coding import CodingSnapshot
from app.calc.vehicle.dtc import Fault
from app.calc.vehicle.identity import Identity
from app.record.flash_log import NewFlash


@dataclass(frozen=True, slots=True)
class IdentityScanned:
    """The numbers as the scan tool shows them."""

    scanned: Identity


@dataclass(frozen=True, slots=True)
class IdentityOnRecord:
    """A scan that was recorded since the case was opened."""

    identity_check_id: int


@dataclass(frozen=True, slots=True)
class StockHashed:
    """Fetch the stock image from the store and hash it now."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture of what was seen: its bytes, its file's name and its media type."""

    data: bytes
    name: str
    media_type: str


@dataclass(frozen=True, slots=True)
class SupplyMeasured:
    """Lowest and highest voltage at the unit's supply; photos of the meter."""

    lowest_v: float
    highest_v: float
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class FlashOnRecord:
    """A write of stock that was logged since the case was opened."""

    flash_id: int


@dataclass(frozen=True, slots=True)
class FlashDone:
    """A write of stock, logged with the step."""

    flash: NewFlash


@dataclass(frozen=True, slots=True)
class ReadBackFile:
    """What the unit holds after the write."""

    image: Image
    file_format: str
    uploaded: bytes
    file_name: str


@dataclass(frozen=True, slots=True)
class ReadBackOnRecord:
    """The latest read-back that was recorded for the write of this case."""


@dataclass(frozen=True, slots=True)
class CodingStated:
    """Whether the coding of every module was written."""

    completed: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class CodingWriteOnRecord:
    """A write-back with its comparison that was recorded for a flash since the case was opened."""

    flash_id: int


@dataclass(frozen=True, slots=True)
class CodingRead:
    """The coding of every module, read again."""

    coding: CodingSnapshot
    uploaded: bytes
    file_name: str


@dataclass(frozen=True, slots=True)
class FaultsRead:
    """The fault list after clearing, decoded, with the text it came from."""

    faults: Sequence[Fault]
    text: str


@dataclass(frozen=True, slots=True)
class ReadinessRead:
    """(control unit, bytes A to D as hex) of every control unit that answered."""

    readings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PartsSeen:
    """The physical parts, one by one; photos of them as fitted."""

    parts: tuple[Part, ...]
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class PullsMeasured:
    """The dyno session with the verification pulls."""

    session_id: int


Evidence = (
    IdentityScanned
    | IdentityOnRecord
    | StockHashed
    | SupplyMeasured
    | FlashOnRecord
    | FlashDone
    | ReadBackFile
    | ReadBackOnRecord
    | CodingStated
    | CodingWriteOnRecord
    | CodingRead
    | FaultsRead
    | ReadinessRead
    | PartsSeen
    | PullsMeasured
)

CLOSES: dict[type[Evidence], StepEvidence] = {
    IdentityScanned: "identity scan",
    IdentityOnRecord: "identity scan",
    StockHashed: "stock image",
    SupplyMeasured: "supply voltage",
    FlashOnRecord: "flash log",
    FlashDone: "flash log",
    ReadBackFile: "read-back image",
    ReadBackOnRecord: "read-back image",
    CodingStated: "coding write-back",
    CodingWriteOnRecord: "coding write-back",
    CodingRead: "coding snapshot",
    FaultsRead: "fault scan",
    ReadinessRead: "readiness",
    PartsSeen: "parts list",
    PullsMeasured: "dyno session",
}


def photos_of(evidence: Evidence) -> tuple[Photo, ...]:
    """The photos that come with it, for the kinds that take some."""
    return evidence.photos if isinstance(evidence, SupplyMeasured | PartsSeen) else ()
