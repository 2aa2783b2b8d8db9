"""A2L files (ASAM MCD-2 MC / ASAP2): the strict part that decoding needs."""

from app.readers.a2l.common import LegacyByteOrder
from app.readers.a2l.reader import A2lFile, read_a2l

__all__ = ["A2lFile", "LegacyByteOrder", "read_a2l"]
