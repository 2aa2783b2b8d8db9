"""FUNCTION and GROUP: which items belong together, as the words a category is found by."""

from app.readers.a2l.context import Findings
from app.readers.a2l.cursor import Cursor
from app.readers.a2l.source import Module, Source

_MEMBERS = {"FUNCTION": ("DEF_CHARACTERISTIC", "REF_CHARACTERISTIC"), "GROUP": ("REF_CHARACTERISTIC",)}
_KNOWN = {"FUNCTION_VERSION": 1, "ROOT": 0}
_OTHERS = (
    "ANNOTATION", "AR_COMPONENT", "FUNCTION_LIST", "IF_DATA", "IN_MEASUREMENT", "LOC_MEASUREMENT",
    "OUT_MEASUREMENT", "REF_MEASUREMENT", "SUB_FUNCTION", "SUB_GROUP",
)  # fmt: skip


def read_groups(source: Source, module: Module, findings: Findings) -> dict[str, list[str]]:
    """For each item the names and descriptions of the functions and groups that list it."""
    found: dict[str, list[str]] = {}
    for keyword, members in _MEMBERS.items():
        for block in module.blocks.get(keyword, []):
            cursor = Cursor(source, block)
            label = f"{cursor.name('name')} {cursor.text('description')}"
            for option in cursor.options(_KNOWN, (*members, *_OTHERS), findings.skipped):
                if option.keyword in members:
                    for name in cursor.inner(option):
                        found.setdefault(name, []).append(label)
    return found
