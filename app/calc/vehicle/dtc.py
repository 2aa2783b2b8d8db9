"""Diagnostic trouble codes (SAE J2012, ISO 15031-6) and the UDS status byte (ISO 14229-1 annex D)."""

from dataclasses import dataclass
from typing import Literal

from app.errors import BadInput

System = Literal["powertrain", "chassis", "body", "network"]
Origin = Literal["standard", "manufacturer", "reserved"]

_LETTERS = "PCBU"
_SYSTEMS: dict[str, System] = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}

# Failure type bytes (SAE J2012-DA); the six most met, from memory.
FAILURE_TYPES = {
    "11": "circuit short to ground",
    "12": "circuit short to battery",
    "13": "circuit open",
    "1C": "circuit voltage out of range",
    "62": "signal compare failure",
    "87": "missing message",
}

# ISO 14229-1 annex D: the meaning of bit 0 … bit 7.
STATUS_FLAGS = (
    "test_failed",
    "test_failed_this_operation_cycle",
    "pending",
    "confirmed",
    "test_not_completed_since_last_clear",
    "test_failed_since_last_clear",
    "test_not_completed_this_operation_cycle",
    "warning_indicator_requested",
)


@dataclass(frozen=True, slots=True, order=True)
class Dtc:
    """One trouble code: five characters, and the failure type byte as two hex digits where it was given.

    >>> Dtc("U0100", "87").display
    'U0100-87'
    """

    code: str
    failure_type: str | None = None

    @property
    def display(self) -> str:
        """The code as written, with the failure type after a hyphen."""
        return self.code if self.failure_type is None else f"{self.code}-{self.failure_type}"

    @property
    def system(self) -> System:
        return _SYSTEMS[self.code[0]]

    @property
    def origin(self) -> Origin:
        """Who defines the code, told from its structure (ranges of SAE J2012, from memory)."""
        letter, group = self.code[0], self.code[1]
        if group == "0" or (letter == "P" and group == "2") or (letter == "U" and group == "3"):
            return "standard"
        if letter == "P" and group == "3":
            return "standard" if self.code[2] >= "4" else "manufacturer"
        return "reserved" if group == "3" else "manufacturer"

    @property
    def failure_text(self) -> str:
        """What the failure type byte says, empty when it is not in the short list or was not given."""
        return FAILURE_TYPES.get(self.failure_type or "", "")


def decode_dtc(raw: bytes) -> Dtc | None:
    """Two bytes, or three with the failure type, as sent on the bus; all zero is padding and gives None.

    Bits 15–14 are the letter (P C B U), bits 13–12 the first digit, three hex digits follow (SAE J2012).

    >>> decode_dtc(bytes.fromhex("C10087")).display
    'U0100-87'
    """
    if len(raw) not in (2, 3):
        raise BadInput(f"A fault code has 2 or 3 bytes, this has {len(raw)}; enter it as the scan tool shows it.")
    if not any(raw):
        return None
    code = f"{_LETTERS[raw[0] >> 6]}{raw[0] >> 4 & 3:X}{raw[0] & 0xF:X}{raw[1]:02X}"
    return Dtc(code, f"{raw[2]:02X}" if len(raw) == 3 else None)


def decode_status(status: int) -> tuple[str, ...]:
    """Names of the flags set in a UDS status byte, lowest bit first.

    >>> decode_status(0x09)
    ('test_failed', 'confirmed')
    """
    if not 0 <= status <= 0xFF:
        raise BadInput(f"A fault status is one byte, 00 to FF, not {status}.")
    return tuple(name for bit, name in enumerate(STATUS_FLAGS) if status >> bit & 1)


# Beside the status byte: a code kept until the monitor itself has passed (SAE J1979 service 0A).
PERMANENT = "permanent"


@dataclass(frozen=True, slots=True)
class Fault:
    """One trouble code as a scan lists it; `flags` are names of STATUS_FLAGS or PERMANENT, empty when not told.

    `module` is the control unit's name as the scan gave it, empty when it gave none.
    """

    dtc: Dtc
    flags: tuple[str, ...] = ()
    text: str = ""
    module: str = ""

    @property
    def sentence(self) -> str:
        """The fault on one line: module, code, text, status."""
        words = ", ".join(flag.replace("_", " ") for flag in self.flags)
        head = ": ".join(filter(None, (self.module, self.dtc.display)))
        return " – ".join(filter(None, (head, self.text))) + (f" ({words})" if words else "")
