"""Finds the table of numbers in a text file of any dialect.

A measuring device writes a rectangle of numbers, with names above it and remarks around it. So the delimiter and the
decimal sign are not guessed from the text as a whole: each combination is tried, and the one under which the file
holds the largest rectangle of numbers wins.
"""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite

from app.errors import BadInput, TooLarge

MAX_BYTES = 16 * 2**20
MAX_COLUMNS = 2000
MAX_CELL = 2000
MAX_LINES = 500_000
_NO_TABLE = "There is no table of numbers in this file: at least three rows of two numbers are needed."
_CELLS_JUDGED = 64
_SAMPLE_LINES = 400
_SAMPLE_CHARACTERS = 32_000
_DELIMITERS = ("\t", ";", ",", "|", " ")
_MISSING = frozenset({"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "#n/a", "*"})
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?", re.ASCII | re.IGNORECASE)
_WITH_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d+)?", re.ASCII)
_SWAP = str.maketrans(",.", ".,")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the file, split; `line` counts from 1."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Consecutive rows of numbers and the text rows that stand directly above them."""

    above: tuple[Row, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """What the file holds: its blocks of numbers, the text before them, and how it was written.

    `decimal_certain` is False when every number would also read with the other decimal sign, as 3.250 does.
    """

    blocks: tuple[Block, ...]
    preamble: tuple[str, ...]
    delimiter: str
    decimal: str
    encoding: str
    decimal_certain: bool


def decode(data: bytes) -> tuple[str, str]:
    """The text and the name of its encoding: by byte order mark, else UTF-8, else Windows-1252.

    Raises `TooLarge` above 16 MiB and `BadInput` for an empty file or one that is not text.
    """
    if len(data) > MAX_BYTES:
        raise TooLarge(f"The file has {len(data)} bytes; {MAX_BYTES} is the most that is read.")
    text, encoding = _decode(data)
    binary = text.find("\0")
    if binary >= 0:
        line = text.count("\n", 0, binary) + 1
        raise BadInput("This is not a text file; export the pulls as CSV or text.", where=f"line {line}")
    if not text.strip():
        raise BadInput("The file is empty.")
    return text, encoding


def _decode(data: bytes) -> tuple[str, str]:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), encoding
    # UTF-16 without its mark: every other byte of western text is zero.
    if data[1:400:2].count(0) > 150:
        return data.decode("utf-16-le", errors="replace"), "utf-16-le"
    if data[0:400:2].count(0) > 150:
        return data.decode("utf-16-be", errors="replace"), "utf-16-be"
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"


def number(cell: str, decimal: str) -> float | None:
    """The number in a cell, NaN for one of the usual words for "missing", None when it is text."""
    text = cell.strip().replace("\u00a0", "").replace("\u2212", "-")
    if text.casefold() in _MISSING:
        return float("nan")
    if decimal == ",":
        text = text.translate(_SWAP)
    if _PLAIN.fullmatch(text):
        value = float(text)
        return value if isfinite(value) else None
    if _WITH_THOUSANDS.fullmatch(text):
        return float(text.replace(",", ""))
    return None


def read_table(data: bytes, *, decimal: str | None = None) -> Table:
    """Decode, find the dialect, and cut the file into blocks of numbers.

    Raises `BadInput` when no dialect shows at least three rows of at least two numbers, `TooLarge` for sizes that
    no pull has.
    """
    text, encoding = decode(data)
    lines = text.splitlines()
    if len(lines) > MAX_LINES:
        raise TooLarge(f"The file has {len(lines)} lines; {MAX_LINES} is the most that is read.")
    delimiter, chosen, certain = _dialect(lines, decimal)
    rows = list(_split(lines, delimiter))
    blocks = _blocks(rows, chosen)
    if not blocks:
        raise BadInput(_NO_TABLE)
    first = blocks[0].above[0].line if blocks[0].above else blocks[0].rows[0].line
    preamble = tuple(line.strip() for line in lines[: first - 1] if line.strip())
    return Table(tuple(blocks), preamble[:100], delimiter, chosen, encoding, certain)


def _dialect(lines: list[str], decimal: str | None) -> tuple[str, str, bool]:
    sample = _sample(lines)
    scores: list[tuple[int, str, str]] = []
    faults: list[BadInput] = []
    for delimiter in _DELIMITERS:
        try:
            rows = list(_split(sample, delimiter))
        except BadInput as fault:
            faults.append(fault)
            continue
        scores += [(_score(rows, sign), delimiter, sign) for sign in ((decimal,) if decimal else (".", ","))]
    best = max((score for score, _, _ in scores), default=0)
    if best <= 0:
        raise faults[0] if faults else BadInput(_NO_TABLE)
    winners = [(delimiter, sign) for score, delimiter, sign in scores if score == best]
    delimiter = winners[0][0]
    signs = [sign for d, sign in winners if d == delimiter]
    if len(signs) == 1:
        return delimiter, signs[0], True
    text = "\n".join(sample)
    # Both signs read every number: the one in the text is taken for a decimal sign, not for thousands.
    points = len(re.findall(r"\d\.\d", text))
    commas = len(re.findall(r"\d,\d", text)) if delimiter != "," else 0
    return delimiter, "," if commas > points else ".", not (points or commas)


def _sample(lines: list[str]) -> list[str]:
    """The head and the middle: a long preamble must not hide the numbers."""
    if len(lines) <= 2 * _SAMPLE_LINES:
        return _up_to(lines, 2 * _SAMPLE_CHARACTERS)
    middle = len(lines) // 2
    tail = lines[middle : middle + _SAMPLE_LINES]
    return _up_to(lines[:_SAMPLE_LINES], _SAMPLE_CHARACTERS) + _up_to(tail, _SAMPLE_CHARACTERS)


def _up_to(lines: list[str], characters: int) -> list[str]:
    """The lines that fit in so many characters, five at least: wide tables stay quick to judge."""
    taken = 0
    for count, line in enumerate(lines):
        taken += len(line)
        if taken > characters and count >= 5:
            return lines[:count]
    return lines


def _split(lines: list[str], delimiter: str) -> Iterator[Row]:
    if delimiter == " ":
        for index, line in enumerate(lines, 1):
            yield _checked(index, _split_blanks(line))
        return
    reader = csv.reader(io.StringIO("\n".join(lines), newline=""), delimiter=delimiter, skipinitialspace=True)
    previous = 0
    try:
        for cells in reader:
            yield _checked(previous + 1, cells)
            previous = reader.line_num
    except csv.Error as fault:
        raise BadInput(f"The line cannot be split into cells: {fault}.", where=f"line {previous + 1}") from fault


def _split_blanks(line: str) -> list[str]:
    wide = [cell for cell in re.split(r"\s{2,}|\t", line.strip()) if cell]
    return wide if len(wide) > 1 else line.split()


def _checked(line: int, cells: list[str]) -> Row:
    used = len(cells)
    while used and not cells[used - 1].strip():
        used -= 1
    del cells[used:]
    if len(cells) > MAX_COLUMNS:
        raise TooLarge(f"{len(cells)} columns; {MAX_COLUMNS} is the most that is read.", where=f"line {line}")
    if any(len(cell) > MAX_CELL for cell in cells):
        raise TooLarge(
            f"A cell is longer than {MAX_CELL} characters; is a quotation mark left open?", where=f"line {line}"
        )
    return Row(line, tuple(cell.strip() for cell in cells))


def _counts(row: Row, decimal: str) -> tuple[int, int]:
    """How many cells of a row are numbers, how many are text; of a wide row the first 64 tell."""
    numbers = texts = 0
    for cell in row.cells[:_CELLS_JUDGED]:
        value = number(cell, decimal)
        if value is None:
            texts += 1
        elif value == value:
            numbers += 1
    return numbers, texts


def _is_numeric(row: Row, decimal: str) -> bool:
    numbers, texts = _counts(row, decimal)
    return numbers >= 2 and numbers > texts


def _score(rows: list[Row], decimal: str) -> int:
    total = 0
    for block in _blocks(rows, decimal):
        for row in block.rows:
            numbers, texts = _counts(row, decimal)
            total += numbers - 2 * texts
    return total


def _blocks(rows: list[Row], decimal: str) -> list[Block]:
    """Runs of at least three numeric rows, each with up to four rows of text that stand directly above."""
    found: list[Block] = []
    current: list[Row] = []
    above: list[Row] = []
    for row in rows:
        if _is_numeric(row, decimal):
            current.append(row)
            continue
        if len(current) >= 3:
            found.append(Block(tuple(above), tuple(current)))
            above = []
        elif current:
            above = []
        current = []
        above = [*above, row][-4:] if row.cells else []
    if len(current) >= 3:
        found.append(Block(tuple(above), tuple(current)))
    return found
