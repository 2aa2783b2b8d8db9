"""Block checksums as control units keep them: over an address range, stored at an address."""

import binascii
import zlib
from dataclasses import dataclass

import numpy as np

from seed_data.tables import ByteOrder

CRC32 = "CRC-32/ISO-HDLC"
CRC16 = "CRC-16/IBM-3740"
SUM16 = "SUM-16/8-BIT"
SUM32 = "SUM-32/32-BIT"
SUM32_TWOS = "SUM-32/32-BIT/TWOS-COMPLEMENT"


@dataclass(frozen=True)
class BlockSum:
    """Checksum `algorithm` over [start, end), stored at `stored_at`; all are offsets into the image."""

    name: str
    algorithm: str
    start: int
    end: int
    stored_at: int


def width_bytes(algorithm: str) -> int:
    """Bytes that the stored checksum takes."""
    return 2 if algorithm in (CRC16, SUM16) else 4


def compute(algorithm: str, data: bytes, order: ByteOrder) -> int:
    """The checksum of `data`; word sums read 32-bit words in byte order `order`."""
    if algorithm == CRC32:
        return zlib.crc32(data)
    if algorithm == CRC16:
        return binascii.crc_hqx(data, 0xFFFF)
    if algorithm == SUM16:
        return sum(data) & 0xFFFF
    words = np.frombuffer(data, dtype=">u4" if order == "big" else "<u4")
    total = int(words.sum(dtype=np.uint64)) & 0xFFFFFFFF
    return total if algorithm == SUM32 else -total & 0xFFFFFFFF


def write_sum(image: bytearray, block: BlockSum, order: ByteOrder) -> None:
    """Recompute one block's checksum and store it."""
    value = compute(block.algorithm, bytes(image[block.start : block.end]), order)
    size = width_bytes(block.algorithm)
    image[block.stored_at : block.stored_at + size] = value.to_bytes(size, order)
