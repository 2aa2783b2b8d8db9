"""Uploaded images, read before the write transaction begins: turning megabytes of text into bytes takes a while, and
every other writer would wait for it."""

from collections.abc import Callable
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session

from app.readers.image import ReadImage, read_image
from app.record.engine import reading
from app.record.tables import ControlUnit
from app.web.uploads import Upload, read_upload


@dataclass(frozen=True, slots=True)
class ImageUpload:
    """The file as it came, its label, and the image in it."""

    data: bytes
    label: str
    read: ReadImage


def read_image_upload(
    request: Request, file: Upload, unit: Callable[[Session], ControlUnit], *, field: str = "file"
) -> ImageUpload:
    """The image in an uploaded file; `unit` finds the control unit, whose base address a raw binary takes.

    Called before `Write` is touched. The session that `unit` gets reads, and is closed again before the file is read.
    Raises what `read_upload`, `read_image` and `unit` raise.
    """
    data, label = read_upload(file, field=field)
    with reading(request.app.state.engine) as session:
        base_address = unit(session).base_address
    return ImageUpload(data, label, read_image(data, base_address=base_address))
