"""Option coding from a file: JSON, a table (CSV), or lines of hex per module, told apart by content."""

import csv
import json
import re
from collections.abc import Iterator
from typing import Any

from app.calc.number_text import counted
from app.calc.vehicle.coding import CodingSnapshot, canonical_value
from app.errors import BadInput, TooLarge

MAX_BYTES = 8 * 1024 * 1024
# Key given to a value that came without one.
PLAIN_KEY = "coding"

_JSON_START = re.compile(r"\s*(?:\{|\[\s*[\{\]])")
_SEPARATOR = re.compile(r"[:=;,|\t]")
# As `canonical_value` reads bytes; each pattern here is linear, so that no line can stall the reader.
_HEX = re.compile(r"(?:0[xX])?[0-9A-Fa-f]{2}(?:[ :\-]?[0-9A-Fa-f]{2})*")
_COLUMNS = {
    "module": ("module", "control unit", "control module", "ecu", "unit", "address", "node"),
    "key": ("key", "channel", "parameter", "option", "item", "field", "data identifier", "name", "id"),
    "value": ("value", "coding", "setting", "data", "hex"),
}


def read_coding(data: bytes) -> CodingSnapshot:
    """Read a coding snapshot from the bytes of a file.

    JSON: modules → keys → values, alone or under "modules", or a list of entries with module, key, value.
    Table: columns named module, key, value (or three columns without a heading), any usual delimiter. Lines:
    a module's name and its hex bytes, or a heading `[module]` followed by `key = value` lines. `#` starts a
    comment line. Raises BadInput with the line (TooLarge above 8 MiB).
    """
    if len(data) > MAX_BYTES:
        raise TooLarge(f"The coding file has {len(data):,} bytes; the most accepted is {MAX_BYTES:,}.")
    text = _text(data)
    found = _Collected()
    if _JSON_START.match(text):
        _read_json(text, found)
    else:
        rows = _table(text)
        if rows:
            _read_table(rows, found)
        else:
            _read_lines(text, found)
    return found.snapshot()


class _Collected:
    """Values gathered so far; refuses what cannot be kept and what contradicts itself."""

    def __init__(self) -> None:
        self.modules: dict[str, dict[str, str]] = {}

    def module(self, name: str, where: str) -> str:
        name = _clean(name, where)
        if not name:
            raise BadInput("The module's name is missing; every value needs one.", where=where)
        self.modules.setdefault(name, {})
        return name

    def add(self, module: str, key: str, value: str, where: str) -> None:
        module, key, value = self.module(module, where), _clean(key, where), _clean(value, where)
        if not key:
            raise BadInput(f"A value of module {module} has no key; name what it codes.", where=where)
        known = self.modules[module].setdefault(key, value)
        if canonical_value(known) != canonical_value(value):
            raise BadInput(
                f"{module}, {key} is given twice with different values ({known[:40]} and {value[:40]}); keep one.",
                where=where,
            )

    def add_plain(self, module: str, value: str, where: str) -> None:
        """A value without a key: "coding", then "coding 2" and so on within the module."""
        module = self.module(module, where)
        taken = self.modules[module]
        n = 1
        while (key := PLAIN_KEY if n == 1 else f"{PLAIN_KEY} {n}") in taken:
            n += 1
        self.add(module, key, value, where)

    def snapshot(self) -> CodingSnapshot:
        snapshot = CodingSnapshot.of(self.modules)
        if snapshot.value_count == 0:
            raise BadInput("No coding value was found; give each module's name and its bytes, one per line.")
        return snapshot


def _clean(text: str, where: str) -> str:
    text = " ".join(text.split())
    try:
        text.encode()
    except UnicodeEncodeError:
        raise BadInput("The text holds a broken character; export the file again as UTF-8.", where=where) from None
    if "\0" in text:
        raise BadInput("The text holds a zero byte; export the file again as text.", where=where)
    return text


def _text(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", "replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", "replace")
    if "\0" in text:
        raise BadInput("This is not text; export the coding as CSV, JSON, or lines of hex per module.")
    return text


# --- JSON
# ------------------------------------------------------------------------------------------------------


def _read_json(text: str, found: _Collected) -> None:
    try:
        content = json.loads(
            text, object_pairs_hook=_unique, parse_int=str, parse_float=str, parse_constant=_no_constant
        )
    except json.JSONDecodeError as error:
        raise BadInput(f"The JSON breaks off: {error.msg.lower()}.", where=f"line {error.lineno}") from None
    except RecursionError:
        raise BadInput("The JSON is nested too deeply; give modules, keys and values only.") from None
    if isinstance(content, dict) and isinstance(content.get("modules"), dict | list):
        content = content["modules"]
    if isinstance(content, list):
        for n, entry in enumerate(content, start=1):
            _json_entry(entry, f"entry {n}", found)
        return
    for name, values in content.items():
        _json_module(name, values, f"module {name[:40]}", found)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result: dict[str, Any] = {}
    for key, value in pairs:
        if key in result:
            raise BadInput(f"The JSON names “{key[:40]}” twice in one object; keep one.")
        result[key] = value
    return result


def _no_constant(text: str) -> str:
    raise BadInput(f"The JSON holds {text}, which is no value a module can have.")


def _json_entry(entry: Any, where: str, found: _Collected) -> None:
    if not isinstance(entry, dict):
        raise BadInput("Each entry of the list needs module, key and value.", where=where)
    columns = _recognise(list(entry))
    names = {role: list(entry)[at] for role, at in columns.items()}
    if "module" not in names and "key" in names:
        # A list of modules, each with its own name and values.
        names["module"] = names.pop("key")
    if "module" not in names or "value" not in names or not isinstance(entry[names["module"]], str):
        raise BadInput("The entry needs a module name and a value.", where=where)
    module, value = entry[names["module"]], entry[names["value"]]
    if "key" in names and isinstance(entry[names["key"]], str):
        found.add(module, entry[names["key"]], _json_value(value, where), where)
    else:
        _json_module(module, value, where, found)


def _json_module(module: str, values: Any, where: str, found: _Collected) -> None:
    if not isinstance(values, dict):
        found.add_plain(module, _json_value(values, where), where)
        return
    found.module(module, where)
    for path, value in _flat(values):
        found.add(module, path, _json_value(value, where), where)


def _flat(values: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in values.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield prefix + key, value


def _json_value(value: Any, where: str) -> str:
    if isinstance(value, str):
        return value
    if value is None or isinstance(value, bool):
        return json.dumps(value) if value is not None else ""
    if isinstance(value, list) and all(isinstance(v, str) and re.fullmatch("[0-9]{1,3}", v) for v in value):
        numbers = [int(v) for v in value]
        if all(n <= 0xFF for n in numbers):
            return bytes(numbers).hex(" ").upper()
    raise BadInput("A value must be text, a number, yes/no, or a list of bytes (0 to 255).", where=where)


# --- table
# -----------------------------------------------------------------------------------------------------


def _table(text: str) -> list[tuple[int, list[str]]]:
    """(line, cells) of a table with at least three columns or a recognised heading; empty when it is none."""
    lines = [line for line in text.splitlines() if _is_content(line)][:50]
    for delimiter in (";", "\t", "|", ","):
        widths = [line.count(delimiter) for line in lines]
        heading = lines[0].split(delimiter) if lines else []
        if not widths or min(widths) < 1 or (min(widths) < 2 and not _is_heading(heading)):
            continue
        return _rows(text, delimiter)
    return []


def _rows(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(text.splitlines(keepends=True), delimiter=delimiter, strict=True, skipinitialspace=True)
    rows = []
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if any(cells) and not cells[0].startswith("#"):
                rows.append((reader.line_num, cells))
    except csv.Error as error:
        raise BadInput(f"The table breaks off: {error}.", where=f"line {reader.line_num}") from None
    return rows


def _recognise(heading: list[str]) -> dict[str, int]:
    """Role → column, by the earliest of each role's words."""
    words = [re.sub(r"[_\s]+", " ", cell.strip().strip('"').lower()) for cell in heading]
    found = {}
    for role, names in _COLUMNS.items():
        column = next((words.index(name) for name in names if name in words), None)
        if column is not None:
            found[role] = column
    return found


def _is_heading(cells: list[str]) -> bool:
    return {"module", "value"} <= _recognise(cells).keys()


def _read_table(rows: list[tuple[int, list[str]]], found: _Collected) -> None:
    line, first = rows[0]
    if _is_heading(first):
        columns, rows, width = _recognise(first), rows[1:], len(first)
    elif len(first) == 3:
        columns, width = {"module": 0, "key": 1, "value": 2}, 3
    else:
        raise BadInput(
            f"The table has {counted(len(first), 'column')} and no heading that says which are module, key and value; "
            "add one.",
            where=f"line {line}",
        )
    for line, cells in rows:
        where = f"line {line}"
        if len(cells) < width or any(cells[width:]):
            raise BadInput(f"This line has {counted(len(cells), 'column')}, expected {width}.", where=where)
        module, value = cells[columns["module"]], cells[columns["value"]]
        if "key" in columns:
            found.add(module, cells[columns["key"]], value, where)
        else:
            found.add_plain(module, value, where)


# --- lines of hex
# ------------------------------------------------------------------------------------------------


def _is_content(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith(("#", "//"))


def _read_lines(text: str, found: _Collected) -> None:
    module = ""
    for number, raw in enumerate(text.splitlines(), start=1):
        line, where = raw.strip(), f"line {number}"
        if not _is_content(line):
            continue
        heading = _heading(line)
        left, right = _pair(line)
        if heading:
            module = found.module(heading, where)
        elif module and _HEX.fullmatch(" ".join(line.split())):
            found.add_plain(module, line, where)
        elif module and left:
            found.add(module, left, right, where)
        else:
            _module_line(line, where, found)


def _heading(line: str) -> str:
    """Name in `[name]` or `name:` alone on its line, else empty."""
    if line.startswith("[") and line.endswith("]"):
        return line[1:-1].strip()
    return line[:-1].strip() if line.endswith(":") and not _SEPARATOR.search(line[:-1]) else ""


def _pair(line: str) -> tuple[str, str]:
    """Text before and after the first separator; both empty when there is none."""
    separator = _SEPARATOR.search(line)
    if separator is None:
        return "", ""
    return line[: separator.start()].strip(), " ".join(line[separator.end() :].split())


def _module_line(line: str, where: str, found: _Collected) -> None:
    name, value = _pair(line)
    if not name:
        words = line.split()
        cut = len(words)
        while cut > 1 and _HEX.fullmatch(words[cut - 1]):
            cut -= 1
        name, value = " ".join(words[:cut]), " ".join(words[cut:])
    if not _HEX.fullmatch(value):
        raise BadInput(
            f"“{line[:40]}” is no module with its bytes; write a name, a colon and whole hex bytes (two digits each).",
            where=where,
        )
    found.add_plain(name, value, where)
