"""Images between the content store and the calculation: rows with an image's columns in, `Image` out."""

import datetime as dt
from typing import Any, Protocol, TypedDict

from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.errors import Conflict
from app.record import content


class HoldsImage(Protocol):
    """A row of stock, stock read, revision or read-back."""

    @property
    def sha256(self) -> str | None: ...
    @property
    def spans(self) -> list[Any] | None: ...
    @property
    def original_sha256(self) -> str | None: ...


class ImageFields(TypedDict):
    """Values for the image columns of a row."""

    sha256: str
    spans: list[list[int]]
    crc32: int
    size: int
    file_format: str
    file_name: str
    original_sha256: str | None


def store(
    session: Session,
    image: Image,
    *,
    uploaded: bytes,
    file_format: str,
    file_name: str,
    at: dt.datetime,
    base: HoldsImage | None = None,
    base_image: Image | None = None,
) -> ImageFields:
    """Store the image's bytes, and the uploaded file itself where it is not those bytes already.

    `base` is the row the image was made from: what differs from its image and from its file is what is kept.
    `base_image` is what `load` gave for that row, where it was loaded before.
    """
    of_image, of_file = (None, None) if base is None else (base.sha256, base.original_sha256)
    known = None if base_image is None else base_image.payload
    digest = content.put(session, image.payload, at=at, base=of_image, base_data=known)
    original = None if uploaded == image.payload else content.put(session, uploaded, at=at, base=of_file)
    return ImageFields(
        sha256=digest,
        spans=[list(span) for span in image.spans],
        crc32=image.crc32,
        size=image.size,
        file_format=file_format,
        file_name=file_name,
        original_sha256=original,
    )


def load(session: Session, row: HoldsImage) -> Image:
    """The verified image of a row; Conflict for a revision that was entered by hand and has none."""
    if row.sha256 is None or row.spans is None:
        raise Conflict("This revision was entered by hand and has no image; upload the file to work with its bytes.")
    return Image.from_spans([(address, length) for address, length in row.spans], content.fetch(session, row.sha256))
