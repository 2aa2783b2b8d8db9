"""Is it a picture that a browser may show, and how large: told from the bytes, never from the name.

Only PNG (ISO/IEC 15948) and JPEG (ITU-T T.81) with a whole frame of chunks or segments count. Formats that can carry
script, and anything that merely begins like a picture, do not: they stay files to be downloaded.
"""

import struct
import zlib
from dataclasses import dataclass

_PNG = b"\x89PNG\r\n\x1a\n"
_CHUNK = struct.Struct(">I4s")
# Start-of-frame markers of T.81 table B.1; C4, C8 and CC are other things.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9
# Markers without a segment behind them: TEM and the restarts.
_BARE = frozenset({0x01, *range(0xD0, 0xD8)})
# A picture of more is a burden to show, and no camera or scanner of a workshop makes one.
_MOST_PIXELS = 120_000_000


@dataclass(frozen=True, slots=True)
class Picture:
    """What a browser is told: media type, width and height in pixels."""

    media_type: str
    width: int
    height: int


def picture_of(data: bytes) -> Picture | None:
    """The picture that the bytes are, or None when they are anything else or not whole."""
    found = _png(data) if data.startswith(_PNG) else _jpeg(data) if data.startswith(b"\xff\xd8\xff") else None
    if found is None or found.width < 1 or found.height < 1 or found.width * found.height > _MOST_PIXELS:
        return None
    return found


def _png(data: bytes) -> Picture | None:
    """Every chunk with its CRC, from IHDR to an IEND that ends the file."""
    at, size, pixels = len(_PNG), (0, 0), False
    while at + 12 <= len(data):
        length, kind = _CHUNK.unpack_from(data, at)
        end = at + 12 + length
        if end > len(data) or zlib.crc32(data[at + 4 : end - 4]) != int.from_bytes(data[end - 4 : end]):
            return None
        if (kind == b"IHDR") != (at == len(_PNG)):
            return None
        if kind == b"IHDR":
            if length != 13:
                return None
            size = struct.unpack_from(">II", data, at + 8)
        pixels = pixels or kind == b"IDAT"
        if kind == b"IEND":
            return Picture("image/png", *size) if pixels and end == len(data) else None
        at = end
    return None


def _jpeg(data: bytes) -> Picture | None:
    """Every segment up to the first scan, with a frame header among them, and an end of image."""
    at, size = 2, (0, 0)
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return None
        marker = data[at + 1]
        if marker == 0xFF:  # fill
            at += 1
        elif marker in _BARE:
            at += 2
        else:
            length = int.from_bytes(data[at + 2 : at + 4])
            if length < 2 or at + 2 + length > len(data):
                return None
            if marker in _FRAMES:
                if length < 8:
                    return None
                height, width = struct.unpack_from(">HH", data, at + 5)
                size = (width, height)
            if marker == _START_OF_SCAN:
                # Cameras put further things behind the end of the image; a browser stops there.
                ends = data.rfind(bytes((0xFF, _END_OF_IMAGE))) > at
                return Picture("image/jpeg", *size) if ends else None
            at += 2 + length
    return None
