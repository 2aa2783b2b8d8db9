"""Files that come in: how large, and what is kept of the name a browser gives them."""

import re
import unicodedata
from typing import Annotated

from fastapi import UploadFile
from pydantic import BeforeValidator

from app.errors import BadInput, TooLarge

BODY_LIMIT = 1 << 20
FILE_LIMIT = 64 << 20
# A route that takes files passes max_body_size=UPLOAD_LIMIT: the largest file and the fields around it.
UPLOAD_LIMIT = FILE_LIMIT + BODY_LIMIT

# A browser sends an empty part for a file field that was left alone.
Upload = Annotated[UploadFile | None, BeforeValidator(lambda value: None if value == "" else value)]
Uploads = Annotated[
    list[UploadFile], BeforeValidator(lambda value: [one for one in value if one != ""] if value else [])
]

_PATH = re.compile(r"[/\\]")
_NOT_PRINTABLE = re.compile(r"[\x00-\x1f\x7f]")


def label_of(file_name: str | None) -> str:
    """A client's file name as a label: its last part, printable, at most 255 characters. It never names a file here."""
    last = _PATH.split(unicodedata.normalize("NFC", file_name or ""))[-1]
    printable = "".join(c for c in _NOT_PRINTABLE.sub("", last) if unicodedata.category(c) not in ("Cf", "Cs", "Co"))
    stem, dot, ending = printable.strip().rpartition(".")
    if len(printable) > 255 and dot and len(ending) < 16:
        return stem[: 254 - len(ending)] + dot + ending
    return printable.strip()[:255] or "unnamed"


def read_upload(file: UploadFile | None, *, field: str, limit: int = FILE_LIMIT) -> tuple[bytes, str]:
    """The bytes of an uploaded file and its label; raises `BadInput` when it is missing or empty, `TooLarge` above
    `limit` bytes."""
    if file is None or not file.filename:
        raise BadInput("Choose a file.", field=field)
    label = label_of(file.filename)
    if file.size is not None and file.size > limit:
        raise TooLarge(f"{label} is larger than {limit >> 20} MiB; this place takes no larger file.", field=field)
    data = file.file.read(limit + 1)
    if len(data) > limit:
        raise TooLarge(f"{label} is larger than {limit >> 20} MiB; this place takes no larger file.", field=field)
    if not data:
        raise BadInput(f"{label} is empty; choose the file again.", field=field)
    return data, label
