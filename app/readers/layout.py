"""A layout from a file, A2L or our own table, told apart by content."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from app.calc.calibration.layout import Layout
from app.calc.number_text import counted
from app.errors import BadInput
from app.readers.a2l.reader import read_a2l
from app.readers.layout_csv import read_layout_csv

_MOST_LISTED = 200
_A2L = re.compile(rb"/begin\s+PROJECT\b|^\s*ASAP2_VERSION\b", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class ReadLayout:
    """The layout and what its file left out; `source` is "A2L" or "table"."""

    layout: Layout
    source: str
    findings: tuple[str, ...]


def read_layout(
    data: bytes,
    *,
    legacy_byte_order: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ReadLayout:
    """Read an A2L file or a table of addresses; BadInput names line and field.

    `legacy_byte_order` answers the question that A2L files with the old byte-order words leave open: "standard" or
    "as written".
    """
    if not data.strip():
        raise BadInput("The layout file is empty; choose it again.", field="file")
    if not _is_a2l(data):
        return ReadLayout(read_layout_csv(data), "table", ())
    order = {"standard": "standard", "as written": "as written"}.get(legacy_byte_order or "")
    found = read_a2l(data, progress=progress, legacy_byte_order=order)  # type: ignore[arg-type]  # a Literal by lookup
    findings = [*found.notes, *found.questions]
    findings += [f"{name}: {reason}" for name, reason in found.not_decoded[:_MOST_LISTED]]
    if len(found.not_decoded) > _MOST_LISTED:
        findings.append(f"{counted(len(found.not_decoded) - _MOST_LISTED, 'further item')} that cannot be decoded.")
    if found.skipped:
        findings.append("Keywords not used for decoding: " + ", ".join(sorted(found.skipped)) + ".")
    return ReadLayout(found.layout, "A2L", tuple(findings))


def _is_a2l(data: bytes) -> bool:
    """By its first keywords, also in UTF-16, where every second byte is zero."""
    head = data[: 1 << 20]
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        head = head.replace(b"\x00", b"")[2:]
    return _A2L.search(head) is not None
