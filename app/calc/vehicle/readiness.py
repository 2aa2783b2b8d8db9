"""Readiness monitors: the four bytes of SAE J1979 / ISO 15031-5 service 01, PID 01."""

from dataclasses import dataclass
from typing import Literal

from app.calc.number_text import counted
from app.errors import BadInput

Ignition = Literal["spark", "compression"]

_CONTINUOUS = ("misfire", "fuel system", "components")
# Byte C says "supported", byte D "not complete"; None is a reserved bit.
_SPARK = (
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "A/C refrigerant (older) / gasoline particulate filter",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR/VVT",
)
_COMPRESSION = (
    "NMHC catalyst",
    "NOx/SCR aftertreatment",
    None,
    "boost pressure",
    None,
    "exhaust gas sensor",
    "PM filter",
    "EGR/VVT",
)


@dataclass(frozen=True, slots=True)
class Monitor:
    """One readiness monitor; `complete` counts only when the control unit supports it."""

    name: str
    supported: bool
    complete: bool


@dataclass(frozen=True, slots=True)
class Readiness:
    """Readiness at one moment, as one control unit reports it."""

    mil_on: bool
    dtc_count: int
    ignition: Ignition
    monitors: tuple[Monitor, ...]

    @property
    def incomplete(self) -> tuple[str, ...]:
        """Supported monitors that have not finished since the last clear."""
        return tuple(m.name for m in self.monitors if m.supported and not m.complete)

    @property
    def supported_count(self) -> int:
        return sum(m.supported for m in self.monitors)

    @property
    def complete(self) -> bool:
        """True when at least one monitor is supported and every supported one has finished."""
        return self.supported_count > 0 and not self.incomplete

    @property
    def sentence(self) -> str:
        lamp = "lamp on" if self.mil_on else "lamp off"
        codes = f"{self.dtc_count} confirmed fault{'' if self.dtc_count == 1 else 's'}"
        if self.supported_count == 0:
            state = "no readiness monitor is supported"
        elif self.incomplete:
            state = (
                f"{len(self.incomplete)} of {counted(self.supported_count, 'monitor')} not complete "
                f"({', '.join(self.incomplete)}); drive the cycle the maker gives, then read again"
            )
        else:
            count = self.supported_count
            some = "the one supported monitor" if count == 1 else f"all {count} supported monitors"
            state = f"{some} complete"
        return f"{state[0].upper()}{state[1:]}; {lamp}, {codes}."


def decode_readiness(data: bytes) -> Readiness:
    """Decode bytes A to D; clearing faults or losing battery supply resets the non-continuous monitors.

    >>> decode_readiness(bytes.fromhex("81074504")).incomplete
    ('evaporative system',)
    """
    if len(data) != 4:
        raise BadInput(f"Readiness has 4 bytes (A to D), this has {len(data)}; enter all eight hex digits.")
    a, b, c, d = data
    compression = bool(b >> 3 & 1)
    monitors = [Monitor(name, bool(b >> k & 1), not b >> (k + 4) & 1) for k, name in enumerate(_CONTINUOUS)]
    monitors += [
        Monitor(name, bool(c >> k & 1), not d >> k & 1)
        for k, name in enumerate(_COMPRESSION if compression else _SPARK)
        if name is not None
    ]
    return Readiness(bool(a >> 7), a & 0x7F, "compression" if compression else "spark", tuple(monitors))


def parse_readiness(text: str) -> Readiness:
    """Decode eight hex digits as typed, with or without blanks; a reply header `41 01` is stripped."""
    digits = "".join(text.upper().replace("0X", "").replace(":", "").split())
    if len(digits) == 12 and digits.startswith("4101"):
        digits = digits[4:]
    try:
        data = bytes.fromhex(digits)
    except ValueError:
        raise BadInput(f"“{text[:30]}” is not hex; enter readiness as eight hex digits such as 00076500.") from None
    return decode_readiness(data)
