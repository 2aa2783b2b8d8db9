"""Write an image as raw binary, Intel HEX or S-record text."""

from collections.abc import Iterator
from typing import Literal

import numpy as np
import numpy.typing as npt

from app.calc.calibration.image import Image, Segment
from app.errors import BadInput, TooLarge

WriteFormat = Literal["bin", "hex", "srec"]

RECORD_BYTES = 16
MAX_FILLED_BYTES = 64 * 1024 * 1024
_PAGE = 0x10000
_DIGITS = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)


def write_image(
    image: Image,
    format: WriteFormat,
    header: str | None = None,
    *,
    start_address: int | None = None,
    fill: int | None = None,
) -> bytes:
    """The image as a file.

    Parameters
    ----------
    format : "bin", "hex" (Intel HEX, types 00, 01, 04, 05) or "srec" (S1, S2 or S3, the narrowest that fits).
    header : text for the S0 record; the other formats have no place for one.
    start_address : for the start or terminating record; "bin" has no place for one.
    fill : byte value to fill gaps of a "bin" with; None refuses an image of several segments.

    BadInput for an image without bytes, beyond 32-bit addresses, or with gaps that nothing fills.
    """
    if not image.segments:
        raise BadInput("The image holds no bytes; there is nothing to write.")
    if format == "bin":
        return _binary(image, fill)
    if image.segments[-1].end > 1 << 32 or (start_address or 0) >> 32:
        raise BadInput("Intel HEX and S-record hold 32-bit addresses only; write the image as raw binary.")
    if format == "hex":
        return b"".join(_hex_lines(image, start_address))
    return b"".join(_s_lines(image, header, start_address or 0))


def _binary(image: Image, fill: int | None) -> bytes:
    if len(image.segments) == 1:
        return image.segments[0].data
    if fill is None:
        raise BadInput(
            f"The image has {len(image.segments)} separate parts and a raw binary has no addresses; write it as "
            f"Intel HEX or S-record, or say with which byte the gaps are to be filled."
        )
    base = image.segments[0].address
    size = image.segments[-1].end - base
    if size > MAX_FILLED_BYTES:
        raise TooLarge(f"With its gaps filled the image would have {size:,} bytes; write it as Intel HEX instead.")
    filled = bytearray(bytes([fill])) * size
    for segment in image.segments:
        filled[segment.address - base : segment.end - base] = segment.data
    return bytes(filled)


def _blocks(segment: Segment, page: int) -> Iterator[tuple[int, npt.NDArray[np.uint8]]]:
    """(address, rows of data) with rows that share a length and never cross a page boundary."""
    data = np.frombuffer(segment.data, dtype=np.uint8)
    at = segment.address
    while at < segment.end:
        left = min(segment.end, (at // page + 1) * page) - at
        lead = min(-at % RECORD_BYTES, left) or min(left, RECORD_BYTES)
        size = lead if at % RECORD_BYTES or left < RECORD_BYTES else left // RECORD_BYTES * RECORD_BYTES
        yield at, data[at - segment.address :][:size].reshape(-1, min(size, RECORD_BYTES))
        at += size


def _lines(mark: bytes, rows: npt.NDArray[np.uint8], checksum: npt.NDArray[np.uint8]) -> bytes:
    """Text of equally long records: mark, hex digits of the row and its checksum, line end."""
    full = np.concatenate((rows, checksum[:, None]), axis=1)
    text = np.empty((len(full), len(mark) + 2 * full.shape[1] + 1), dtype=np.uint8)
    text[:, : len(mark)] = np.frombuffer(mark, dtype=np.uint8)
    text[:, len(mark) : -1 : 2] = _DIGITS[full >> 4]
    text[:, len(mark) + 1 : -1 : 2] = _DIGITS[full & 15]
    text[:, -1] = ord("\n")
    return text.tobytes()


def _rows(address: int, width: int, lead: int, tail: bytes, data: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Records without checksum: `lead`, address in `width` bytes, `tail`, data; one row for each row of `data`."""
    n, length = data.shape
    rows = np.empty((n, 1 + width + len(tail) + length), dtype=np.uint8)
    rows[:, 0] = lead
    addresses = address + np.arange(n, dtype=np.int64) * length
    for k in range(width):
        rows[:, 1 + k] = addresses >> 8 * (width - 1 - k) & 0xFF
    rows[:, 1 + width : 1 + width + len(tail)] = np.frombuffer(tail, dtype=np.uint8)
    rows[:, 1 + width + len(tail) :] = data
    return rows


def _row(data: bytes) -> npt.NDArray[np.uint8]:
    return np.frombuffer(data, dtype=np.uint8).reshape(1, -1)


def _hex_record(address: int, kind: int, data: npt.NDArray[np.uint8]) -> bytes:
    rows = _rows(address, 2, data.shape[1], bytes([kind]), data)
    return _lines(b":", rows, -rows.sum(axis=1, dtype=np.uint8))


def _hex_lines(image: Image, start_address: int | None) -> Iterator[bytes]:
    upper = 0
    for segment in image.segments:
        for address, data in _blocks(segment, _PAGE):
            if address >> 16 != upper:
                upper = address >> 16
                yield _hex_record(0, 4, _row(upper.to_bytes(2)))
            yield _hex_record(address & 0xFFFF, 0, data)
    if start_address is not None:
        yield _hex_record(0, 5, _row(start_address.to_bytes(4)))
    yield b":00000001FF\n"


def _s_record(kind: int, address: int, width: int, data: npt.NDArray[np.uint8]) -> bytes:
    rows = _rows(address, width, 1 + width + data.shape[1], b"", data)
    return _lines(b"S%d" % kind, rows, ~rows.sum(axis=1, dtype=np.uint8))


def _s_lines(image: Image, header: str | None, start_address: int) -> Iterator[bytes]:
    highest = max(image.segments[-1].end - 1, start_address)
    kind = 1 if highest < 1 << 16 else 2 if highest < 1 << 24 else 3
    none = np.empty((1, 0), dtype=np.uint8)
    if header:
        yield _s_record(0, 0, 2, _row(header.encode("latin-1", "replace")[:250]))
    records = 0
    for segment in image.segments:
        for address, data in _blocks(segment, 1 << 32):
            records += len(data)
            yield _s_record(kind, address, kind + 1, data)
    if records < 1 << 24:
        yield _s_record(5, records, 2, none) if records < 1 << 16 else _s_record(6, records, 3, none)
    yield _s_record(10 - kind, start_address, kind + 1, none)
