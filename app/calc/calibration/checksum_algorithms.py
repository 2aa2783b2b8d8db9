"""Checksum algorithms by name: catalogue CRCs, additive sums, Fletcher, Adler-32, the RFC 1071 sum.

Names. A CRC carries its name in the public catalogue of parametrised CRC algorithms ("CRC-32/ISO-HDLC").
"SUM-16/8-BIT" adds 8-bit words into a 16-bit register; "/ONES-COMPLEMENT" and "/TWOS-COMPLEMENT" say what
is stored in place of the sum itself. Words are read in the byte order of the stored value: a control unit has
one.
"""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

import anycrc
import numpy as np
import numpy.typing as npt

from app.errors import BadInput

ByteOrder = Literal["big", "little"]
Family = Literal["crc", "sum", "fletcher", "adler", "end-around-carry"]
Words = npt.NDArray[np.unsignedinteger[Any]]
Complement = Literal["none", "one's", "two's"]


@dataclass(frozen=True, slots=True)
class Algorithm:
    """One way to condense bytes into a number of `width` bits.

    Parameters
    ----------
    width : bits of the result; stored in `size` bytes.
    unit : bytes per word that is added (sums, Fletcher, RFC 1071); 1 for the rest.
    complement : what a sum stores: itself, its one's complement or its two's complement.
    poly, init, refin, refout, xorout : the parametric model of a CRC; every family starts at `init`.
    """

    name: str
    family: Family
    width: int
    unit: int = 1
    complement: Complement = "none"
    poly: int = 0
    init: int = 0
    refin: bool = False
    refout: bool = False
    xorout: int = 0

    @property
    def size(self) -> int:
        """Bytes the result takes in an image."""
        return (self.width + 7) // 8

    def engine(self, start: int | None = None) -> Any:  # anycrc has no type information
        """The table-driven engine of a CRC with another start value when one is given."""
        init = self.init if start is None else start
        return anycrc.CRC(self.width, self.poly, init, self.refin, self.refout, self.xorout)

    def compute(self, data: bytes | memoryview, byte_order: ByteOrder = "big", start: int | None = None) -> int:
        """The checksum of `data`; `start` replaces the algorithm's own start value.

        A last word that is not whole is filled with zero bytes.
        """
        begin = self.init if start is None else start
        if self.family == "crc":
            return int(self.engine(start).calc(data))
        if self.family == "adler":
            return zlib.adler32(data, begin)
        words = as_words(data, self.unit, byte_order)
        if self.family == "fletcher":
            return _fletcher(words, self.width // 2, begin)
        if self.family == "end-around-carry":
            return _end_around_carry(words, begin)
        return self.finish(int(words.sum(dtype=np.uint64)) + begin)

    def finish(self, total: int) -> int:
        """What a sum stores for a register content of `total`."""
        mask = (1 << self.width) - 1
        if self.complement == "one's":
            return ~total & mask
        if self.complement == "two's":
            return -total & mask
        return total & mask


def as_words(data: bytes | memoryview, unit: int, byte_order: ByteOrder) -> Words:
    """Words of `unit` bytes (1, 2, 4) of `data`, the last one filled with zeros; no copy when it is whole."""
    if len(data) % unit:
        data = bytes(data) + bytes(-len(data) % unit)
    return np.frombuffer(data, dtype=f"{'<' if byte_order == 'little' else '>'}u{unit}")


def _fletcher(words: Words, half: int, start: int) -> int:
    """Fletcher's two sums modulo 2^half − 1; second sum in the upper half.

    The second sum is Σ (n − i)·wᵢ. Both factors are below 2^16 after the reduction of the weights, so up to
    2^31 words fit the 64-bit register.
    Source: J. G. Fletcher, IEEE Trans. Comm. COM-30 (1982), 247.
    """
    modulus = (1 << half) - 1
    first, second = start & modulus, start >> half
    n = words.size
    weights = np.arange(n, 0, -1, dtype=np.uint64) % np.uint64(modulus)
    total = int(words.sum(dtype=np.uint64))
    weighted = int(np.dot(weights, words.astype(np.uint64)))
    return (second + n * first + weighted) % modulus << half | (first + total) % modulus


def _end_around_carry(words: Words, start: int) -> int:
    """One's complement of the one's complement sum of 16-bit words. Source: RFC 1071, section 1."""
    total = start + int(words.sum(dtype=np.uint64))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def _catalogue() -> dict[str, Algorithm]:
    found = {}
    for key, model in anycrc.models.items():
        name = _catalogue_name(key)
        found[name] = Algorithm(
            name=name,
            family="crc",
            width=model.width,
            poly=model.poly,
            init=model.init,
            refin=model.refin,
            refout=model.refout,
            xorout=model.xorout,
        )
    return found


def _catalogue_name(key: str) -> str:
    return re.sub(r"^CRC(\d+)-", r"CRC-\1/", key)


def _sums() -> list[Algorithm]:
    endings: tuple[tuple[Complement, str], ...] = (
        ("none", ""),
        ("one's", "/ONES-COMPLEMENT"),
        ("two's", "/TWOS-COMPLEMENT"),
    )
    return [
        Algorithm(f"SUM-{width}/{8 * unit}-BIT{ending}", "sum", width, unit, complement)
        for width, units in ((8, (1,)), (16, (1, 2)), (32, (1, 2, 4)))
        for unit in units
        for complement, ending in endings
    ]


_CATALOGUE = _catalogue()
_ALIASES = {key: _catalogue_name(value) for key, value in anycrc.aliases.items()}

# The CRCs met in control units, file formats and bus protocols; the catalogue's others work by name.
_COMMON = (
    "CRC-8/SAE-J1850",
    "CRC-8/AUTOSAR",
    "CRC-8/SMBUS",
    "CRC-8/MAXIM-DOW",
    "CRC-16/IBM-3740",
    "CRC-16/XMODEM",
    "CRC-16/KERMIT",
    "CRC-16/IBM-SDLC",
    "CRC-16/GENIBUS",
    "CRC-16/ARC",
    "CRC-16/MODBUS",
    "CRC-32/ISO-HDLC",
    "CRC-32/BZIP2",
    "CRC-32/MPEG-2",
    "CRC-32/JAMCRC",
    "CRC-32/CKSUM",
    "CRC-32/AUTOSAR",
    "CRC-32/ISCSI",
    "CRC-64/XZ",
    "CRC-64/ECMA-182",
)

ALGORITHMS: Mapping[str, Algorithm] = MappingProxyType(
    {name: _CATALOGUE[name] for name in _COMMON}
    | {a.name: a for a in _sums()}
    | {
        a.name: a
        for a in (
            Algorithm("FLETCHER-16", "fletcher", 16),
            Algorithm("FLETCHER-32", "fletcher", 32, unit=2),
            Algorithm("ADLER-32", "adler", 32, init=1),
            Algorithm("SUM-16/RFC-1071", "end-around-carry", 16, unit=2),
        )
    }
)


def algorithm(name: str) -> Algorithm:
    """The algorithm of that name: one of ALGORITHMS, any model of the CRC catalogue, or an alias there.

    BadInput names the algorithm when there is none.
    """
    key = name.strip().upper()
    if key in ALGORITHMS:
        return ALGORITHMS[key]
    if key in _CATALOGUE:
        return _CATALOGUE[key]
    short = re.sub(r"^CRC-(\d)", r"CRC\1", key).replace("/", "-")
    if short in _ALIASES:
        return _CATALOGUE[_ALIASES[short]]
    raise BadInput(
        f"There is no checksum algorithm named “{name[:60]}”; use a name such as “CRC-32/ISO-HDLC” or "
        f"“SUM-16/8-BIT/TWOS-COMPLEMENT”.",
        field="algorithm",
    )
