"""Option coding: every module's keys and values at one moment, and what differs between two moments."""

import hashlib
import json
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

ChangeKind = Literal["added", "removed", "changed"]

# Whole bytes only: "0A1F", "0a 1f", "0A:1F", "0x0A1F". "A1F" or "12.5" is text.
_HEX = re.compile(r"(?:0[xX])?[0-9A-Fa-f]{2}(?:[ :\-]?[0-9A-Fa-f]{2})*")


def canonical_value(value: str) -> str:
    """The form in which values are compared: text trimmed; whole hex bytes upper case without separators.

    >>> canonical_value(" 0a 1f "), canonical_value("Sport")
    ('0A1F', 'Sport')
    """
    text = " ".join(value.split())
    if _HEX.fullmatch(text):
        return re.sub(r"[ :\-]", "", text.upper().removeprefix("0X"))
    return text


@dataclass(frozen=True, slots=True)
class CodingSnapshot:
    """Modules in order of name, each with (key, value) in order of key; values as they were read.

    >>> snapshot = CodingSnapshot.of({"Body": {"long coding": "0A 1F"}})
    >>> snapshot.modules
    (('Body', (('long coding', '0A 1F'),)),)
    """

    modules: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]

    @classmethod
    def of(cls, modules: Mapping[str, Mapping[str, str]]) -> "CodingSnapshot":
        """Build from modules → keys → values; a module without keys stays, it was read and had none."""
        return cls(tuple((name, tuple(sorted(keys.items()))) for name, keys in sorted(modules.items())))

    def as_dict(self) -> dict[str, dict[str, str]]:
        """Modules → keys → values."""
        return {name: dict(keys) for name, keys in self.modules}

    def entries(self) -> Iterator[tuple[tuple[str, str], str]]:
        """((module, key), value) in order."""
        return (((name, key), value) for name, keys in self.modules for key, value in keys)

    @property
    def value_count(self) -> int:
        return sum(len(keys) for _, keys in self.modules)

    @property
    def digest(self) -> str:
        """SHA-256 over sorted, compact UTF-8 JSON of the canonical values, lower-case hex.

        Equal digests mean that `compare` finds nothing; how bytes were spaced when read does not move it.
        """
        canonical = {name: {key: canonical_value(value) for key, value in keys} for name, keys in self.modules}
        text = json.dumps(canonical, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class ByteChange:
    """One byte of a hex value, counted from 0; None where one value is shorter; bit 0 is the lowest."""

    index: int
    before: int | None
    after: int | None

    @property
    def bits(self) -> tuple[int, ...]:
        """Numbers of the bits that differ, empty where the byte exists on one side only."""
        if self.before is None or self.after is None:
            return ()
        return tuple(bit for bit in range(8) if (self.before ^ self.after) >> bit & 1)


@dataclass(frozen=True, slots=True)
class CodingChange:
    """One key that is not the same; `byte_changes` where both values are whole hex bytes."""

    module: str
    key: str
    kind: ChangeKind
    before: str | None
    after: str | None
    byte_changes: tuple[ByteChange, ...] = ()


@dataclass(frozen=True, slots=True)
class CodingComparison:
    """Every difference from the first snapshot to the second, in order of module and key.

    `ignored` are differences the caller asked to leave out of the verdict; they are listed, never dropped.
    `missing_modules` and `new_modules` are whole modules on one side only (their keys are in `changes` too).
    """

    changes: tuple[CodingChange, ...]
    compared: int
    ignored: tuple[CodingChange, ...] = ()
    missing_modules: tuple[str, ...] = ()
    new_modules: tuple[str, ...] = ()

    @property
    def equal(self) -> bool:
        """True when nothing but ignored keys differs and there was something to compare."""
        return not (self.changes or self.missing_modules or self.new_modules) and self.compared > 0

    def of_kind(self, kind: ChangeKind) -> tuple[CodingChange, ...]:
        return tuple(c for c in self.changes if c.kind == kind)

    @property
    def sentence(self) -> str:
        if self.compared == 0:
            return "There is no value to compare: read the coding of the modules first."
        counts = ", ".join(f"{len(self.of_kind(k))} {k}" for k in ("changed", "added", "removed") if self.of_kind(k))
        left_out = f" {len(self.ignored)} differing but left out of the comparison." if self.ignored else ""
        if self.equal:
            what = "The one coding value is" if self.compared == 1 else f"All {self.compared} coding values are"
            return f"{what} equal.{left_out}"
        modules = dict.fromkeys([c.module for c in self.changes] + [*self.missing_modules, *self.new_modules])
        return f"Coding differs in {', '.join(modules)}: {counts or 'modules missing'}.{left_out}"


def compare(
    before: CodingSnapshot, after: CodingSnapshot, *, ignore: Collection[tuple[str, str]] = ()
) -> CodingComparison:
    """Compare two snapshots by module and key.

    ignore : (module, key) pairs whose difference does not count, such as a mileage kept among the coding;
        they come back in `ignored`.
    """
    left, right = dict(before.entries()), dict(after.entries())
    found = [c for at in sorted(left.keys() | right.keys()) if (c := _change(at, left.get(at), right.get(at)))]
    leave_out = set(ignore)
    before_names, after_names = dict(before.modules), dict(after.modules)
    return CodingComparison(
        changes=tuple(c for c in found if (c.module, c.key) not in leave_out),
        compared=len((left.keys() | right.keys()) - leave_out),
        ignored=tuple(c for c in found if (c.module, c.key) in leave_out),
        missing_modules=tuple(sorted(before_names.keys() - after_names.keys())),
        new_modules=tuple(sorted(after_names.keys() - before_names.keys())),
    )


def equal(a: CodingSnapshot, b: CodingSnapshot, *, ignore: Collection[tuple[str, str]] = ()) -> bool:
    """True when the second snapshot restores the first: same modules, keys and values but for `ignore`."""
    return compare(a, b, ignore=ignore).equal


def _change(at: tuple[str, str], before: str | None, after: str | None) -> CodingChange | None:
    if before is None or after is None:
        return CodingChange(*at, "added" if before is None else "removed", before, after)
    left, right = canonical_value(before), canonical_value(after)
    if left == right:
        return None
    return CodingChange(*at, "changed", before, after, _byte_changes(left, right))


def _byte_changes(left: str, right: str) -> tuple[ByteChange, ...]:
    if not (_HEX.fullmatch(left) and _HEX.fullmatch(right)):
        return ()
    a, b = bytes.fromhex(left), bytes.fromhex(right)
    pairs = ((k, a[k] if k < len(a) else None, b[k] if k < len(b) else None) for k in range(max(len(a), len(b))))
    return tuple(ByteChange(k, x, y) for k, x, y in pairs if x != y)
