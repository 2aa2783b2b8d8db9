"""Images as Intel HEX (I32HEX) and Motorola S-record (S3) text."""

import numpy as np
from numpy.typing import NDArray

_DIGITS = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)
_LINE = 32


def intel_hex(image: bytes, base: int) -> bytes:
    """Data records of 32 bytes with an extended linear address record every 64 KiB, then the end record."""
    parts = []
    for start in range(0, len(image), 0x10000):
        upper = (base + start) >> 16
        head = bytes([2, 0, 0, 4, upper >> 8, upper & 0xFF])
        parts.append(b":" + (head + bytes([-sum(head) & 0xFF])).hex().upper().encode() + b"\r\n")
        data = np.frombuffer(image[start : start + 0x10000], dtype=np.uint8).reshape(-1, _LINE)
        offsets = np.arange(len(data), dtype=np.uint32) * _LINE + ((base + start) & 0xFFFF)
        heads = np.empty((len(data), 4), dtype=np.uint8)
        heads[:, 0], heads[:, 3] = _LINE, 0
        heads[:, 1], heads[:, 2] = offsets >> 8, offsets & 0xFF
        body = np.concatenate([heads, data], axis=1)
        sums = (-body.sum(axis=1, dtype=np.int64) & 0xFF).astype(np.uint8)
        parts.append(_lines(b":", np.concatenate([body, sums[:, None]], axis=1)))
    return b"".join(parts) + b":00000001FF\r\n"


def s_record(image: bytes, base: int, title: str) -> bytes:
    """S0 with a title, S3 records of 32 bytes, an S5 count, and S7 with the start address."""
    data = np.frombuffer(image, dtype=np.uint8).reshape(-1, _LINE)
    addresses = np.arange(len(data), dtype=np.uint64) * np.uint64(_LINE) + np.uint64(base)
    heads = np.empty((len(data), 5), dtype=np.uint8)
    heads[:, 0] = 4 + _LINE + 1
    for k in range(4):
        heads[:, 1 + k] = (addresses >> np.uint64(8 * (3 - k))) & np.uint64(0xFF)
    body = np.concatenate([heads, data], axis=1)
    sums = (~body.sum(axis=1, dtype=np.int64) & 0xFF).astype(np.uint8)
    lines = _lines(b"S3", np.concatenate([body, sums[:, None]], axis=1))
    count = len(data).to_bytes(2, "big")
    return (
        _short(b"S0", b"\0\0" + title.encode()) + lines + _short(b"S5", count) + _short(b"S7", base.to_bytes(4, "big"))
    )


def _short(kind: bytes, body: bytes) -> bytes:
    record = bytes([len(body) + 1]) + body
    return kind + (record + bytes([~sum(record) & 0xFF])).hex().upper().encode() + b"\r\n"


def _lines(mark: bytes, rows: NDArray[np.uint8]) -> bytes:
    """Each row of bytes as one line of upper-case hex digits after `mark`."""
    width = 2 * rows.shape[1]
    text = np.empty((len(rows), len(mark) + width + 2), dtype=np.uint8)
    text[:, : len(mark)] = np.frombuffer(mark, dtype=np.uint8)
    text[:, len(mark) : -2 : 2] = _DIGITS[rows >> 4]
    text[:, len(mark) + 1 : -2 : 2] = _DIGITS[rows & 15]
    text[:, -2:] = np.frombuffer(b"\r\n", dtype=np.uint8)
    raw: bytes = text.tobytes()
    return raw
