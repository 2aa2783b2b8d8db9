"""What the demo's story knows while it is told: files by name, ids by label."""

from dataclasses import dataclass, field
from pathlib import Path


@dataclass
class Story:
    """`files` maps a step's file name to its path; `ids` (kind, label) to the id that the record gave it."""

    files: dict[str, Path]
    ids: dict[tuple[str, str], int] = field(default_factory=dict)

    def id(self, kind: str, label: str) -> int:
        return self.ids[kind, label]

    def maybe(self, kind: str, label: str | None) -> int | None:
        return None if label is None else self.ids[kind, label]

    def name(self, kind: str, label: str | None, key: int) -> None:
        if label is not None:
            self.ids[kind, label] = key

    def bytes_of(self, name: str) -> tuple[bytes, str]:
        """The file's bytes and the name that a person would see."""
        path = self.files[name]
        return path.read_bytes(), path.name
