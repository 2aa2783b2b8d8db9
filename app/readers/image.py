"""Calibration images as they come: raw binary, Intel HEX or S-record, told apart by content, never by name."""

import re
from dataclasses import dataclass
from typing import Literal

from app.calc.calibration.image import Image
from app.errors import BadInput, TooLarge
from app.readers.image_writer import write_image
from app.readers.intel_hex import read_intel_hex
from app.readers.s_record import read_s_record

__all__ = ["MAX_BYTES", "ImageFormat", "ReadImage", "read_image", "write_image"]

ImageFormat = Literal["binary", "Intel HEX", "S-record"]

MAX_BYTES = 64 * 1024 * 1024

_HEAD = 4096
_BOMS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_HEX_LINE = re.compile(rb"(?:^|[\r\n]):[0-9A-Fa-f]{10}")
_S_LINE = re.compile(rb"(?:^|[\r\n])[Ss][0-9][0-9A-Fa-f]{6}")
_HEX_TEXT = re.compile(rb"[0-9A-Fa-f:\r\n\x1a]*")
_NOT_TEXT = re.compile(rb"[^\t\r\n\x1a\x20-\x7e]")


@dataclass(frozen=True, slots=True)
class ReadImage:
    """An image and what its file said about it.

    `start_address` is where a start or terminating record points to; `header` the text of an S0 record; `notes`
    what was left out or not used, one sentence each.
    """

    image: Image
    format: ImageFormat
    header: str | None
    start_address: int | None
    notes: tuple[str, ...]


def read_image(data: bytes, *, base_address: int = 0) -> ReadImage:
    """Read a calibration image.

    Parameters
    ----------
    data : the whole file, at most MAX_BYTES.
    base_address : address of the first byte of a raw binary; the other formats carry their own addresses.

    A file that has the records of Intel HEX or S-record near its beginning is read as such or refused, never
    taken for a binary. BadInput names the line, what was expected and what was found; TooLarge beyond the limits.
    """
    if not data:
        raise BadInput("Expected an image, found an empty file (0 bytes); read or export it again.", where="line 1")
    if len(data) > MAX_BYTES:
        raise TooLarge(f"The file has {len(data):,} bytes; an image file may have {MAX_BYTES:,}.")
    if base_address < 0:
        raise BadInput("The base address is negative; give the address of the first byte.", field="base_address")
    found = detect(data)
    unused = ("The file carries its own addresses; the base address given was not used.",) if base_address else ()
    if found == "Intel HEX":
        hex_file = read_intel_hex(data)
        return ReadImage(hex_file.image, found, None, hex_file.start_address, hex_file.notes + unused)
    if found == "S-record":
        s_file = read_s_record(data)
        return ReadImage(s_file.image, found, s_file.header, s_file.start_address, s_file.notes + unused)
    notes = () if _NOT_TEXT.search(data) else ("All bytes are printable text; check that this is an image.",)
    return ReadImage(Image.of([(base_address, data)]), found, None, None, notes)


def detect(data: bytes) -> ImageFormat:
    """The format, from the first and the last kilobytes.

    A line that begins with the mark and as many hex digits as the shortest record has decides; so does the mark at
    the beginning of printable text, and text of nothing but hex digits and colons. Random bytes are mistaken for
    a record once in 10⁸ files.
    """
    head = data[:_HEAD]
    for bom in _BOMS:
        if head.startswith(bom):
            head = head[len(bom) :].replace(b"\0", b"")
    head = head.lstrip(b"\r\n")
    for part in (head, data[-_HEAD:] if len(data) > _HEAD else b""):
        hex_line, s_line = _HEX_LINE.search(part), _S_LINE.search(part)
        if hex_line and not (s_line and s_line.start() < hex_line.start()):
            return "Intel HEX"
        if s_line:
            return "S-record"
    if _NOT_TEXT.search(head):
        return "binary"
    if head.startswith(b":") or (b":" in head and _HEX_TEXT.fullmatch(head)):
        return "Intel HEX"
    return "S-record" if re.match(rb"[Ss][0-9]", head) else "binary"
