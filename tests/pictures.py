"""Small pictures, built by the words of the standards: PNG by ISO/IEC 15948 (chunks with CRC, 5.3), JPEG by ITU-T T.81
(annex B: markers and segments). CRC and compression come from zlib, which is not ours."""

import struct
import zlib


def chunk(kind: bytes, data: bytes = b"") -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int = 3, height: int = 2) -> bytes:
    """Grey, 8 bits: each line begins with the filter type 0."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    lines = zlib.compress((b"\0" + bytes(min(width, 64))) * min(height, 64))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", lines) + chunk(b"IEND")


def segment(marker: int, data: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(data) + 2) + data


def jpeg(width: int = 640, height: int = 480, frame: int = 0xC0, behind: bytes = b"") -> bytes:
    start = segment(0xE0, b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0") + segment(0xDB, bytes(65))
    start += segment(frame, struct.pack(">BHHB", 8, height, width, 1) + b"\x01\x11\0")
    return b"\xff\xd8" + start + segment(0xDA, b"\x01\x01\0\0\x3f\0") + b"\x12\x34\xff\0\x56" + b"\xff\xd9" + behind
