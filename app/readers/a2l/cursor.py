"""Reading one block word by word, strictly, with errors that name the line."""

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from app.calc.number_text import counted
from app.errors import BadInput
from app.readers.a2l.source import Block, Source

_INTEGER = re.compile(r"[+-]?\d{1,30}|0[xX][0-9a-fA-F]{1,16}")
_FLOAT = re.compile(r"[+-]?(?:\d{1,400}\.?\d{0,400}|\.\d{1,400})(?:[eE][+-]?\d{1,6})?")
_ESCAPE = re.compile(r'\\(.)|""', re.S)
_ESCAPED = {"n": "\n", "r": "\r", "t": "\t"}
ALL_NUMBERS = -1


@dataclass(frozen=True, slots=True)
class Option:
    """A keyword inside a block: its word index, or for an inner block the indices of its content."""

    keyword: str
    at: int
    end: int


class Cursor:
    """Words of one block. Fixed parameters are taken in order; the keywords after them come from `options`."""

    __slots__ = ("at", "block", "first", "keyword", "source", "words")

    def __init__(self, source: Source, block: Block) -> None:
        self.source, self.block, self.keyword, self.at, self.first = source, block, block.keyword, 0, 0
        self.words = source.words(block.start, block.end)

    def inside(self, option: Option) -> "Cursor":
        """A cursor over an inner block."""
        inner = object.__new__(Cursor)
        inner.source, inner.block, inner.keyword = self.source, self.block, option.keyword
        inner.at, inner.first = 0, self.first + option.at + 1
        inner.words = self.words[option.at + 1 : option.end]
        return inner

    def bad(self, sentence: str, index: int | None = None) -> BadInput:
        """An error at a word, by default the one read last."""
        at = max(self.at - 1, 0) if index is None else index
        position = self.source.position_of_word(self.block.start, self.block.end, self.first + at)
        return self.source.bad(sentence, position)

    def next(self, what: str) -> str:
        """The next word; BadInput names what is missing."""
        if self.at >= len(self.words):
            raise self.bad(f"{self.keyword} ends where its {what} is expected.", len(self.words))
        self.at += 1
        return self.words[self.at - 1]

    def name(self, what: str) -> str:
        """An identifier."""
        word = self.next(what)
        if not (word[0].isalpha() or word[0] == "_"):
            raise self.bad(f"{word[:40]!r} stands where the {what} is expected.")
        return word

    def text(self, what: str) -> str:
        """A text in quotes, without them."""
        word = self.next(what)
        if word[0] != '"':
            raise self.bad(f"{word[:40]!r} stands where the {what} in quotes is expected.")
        return unquoted(word)

    def number(self, what: str) -> float:
        """A finite number, decimal or hexadecimal."""
        word = self.next(what)
        if _FLOAT.fullmatch(word):
            value = float(word)
        elif _INTEGER.fullmatch(word):
            value = float(int(word, 16))
        else:
            raise self.bad(f"{word[:40]!r} stands where the number for the {what} is expected.")
        if not math.isfinite(value):
            raise self.bad(f"{word[:40]} is too large for the {what}.")
        return value

    def whole(self, what: str, low: int = 0, high: int = 0xFFFF_FFFF) -> int:
        """A whole number, decimal or hexadecimal, within limits."""
        word = self.next(what)
        if not _INTEGER.fullmatch(word):
            raise self.bad(f"{word[:40]!r} stands where the whole number for the {what} is expected.")
        value = int(word, 16 if word[:2] in ("0x", "0X") else 10)
        if not low <= value <= high:
            raise self.bad(f"{word} is no {what}; allowed are {low} to {high}.")
        return value

    def choice(self, what: str, allowed: Collection[str]) -> str:
        """One of some words."""
        word = self.next(what)
        if word not in allowed:
            raise self.bad(f"{word[:40]!r} is no {what}; allowed are {', '.join(sorted(allowed))}.")
        return word

    def options(self, known: Mapping[str, int], blocks: Collection[str], skipped: dict[str, None]) -> list[Option]:
        """All keywords and inner blocks from here to the end, in order.

        `known` gives the number of words after each keyword. Unknown keywords and blocks go to `skipped` with
        everything up to the next known keyword or block.
        """
        found: list[Option] = []
        words, end, unknown = self.words, len(self.words), False
        while self.at < end:
            word, at = words[self.at], self.at
            count = known.get(word)
            if count is not None:
                stop = self.after(word, count)
                found.append(Option(word, at, stop))
                unknown = False
            elif word == "/begin":
                stop = self.after_block()
                keyword = words[at + 1]
                if keyword in blocks:
                    found.append(Option(keyword, at + 1, stop - 2))
                else:
                    skipped[keyword] = None
                unknown = False
            elif word[0].isalpha() or word[0] == "_":
                if not unknown:
                    skipped[word] = None
                unknown, stop = True, at + 1
            elif unknown:
                stop = at + 1
            else:
                raise self.bad(f"{word[:40]!r} is one value too many in {self.keyword}.", at)
            self.at = stop
        return found

    def after(self, word: str, count: int) -> int:
        start, end = self.at + 1, len(self.words)
        if count == ALL_NUMBERS:
            stop = start
            while stop < end and self.words[stop][0] in "0123456789+-":
                stop += 1
            return stop
        if start + count > end or "/begin" in self.words[start : start + count]:
            raise self.bad(f"{word} needs {counted(count, 'value')}.", self.at)
        return start + count

    def after_block(self) -> int:
        """Index after the /end of the inner block that begins here; the scan has checked that they pair."""
        depth, at, words = 0, self.at, self.words
        while True:
            if words[at] == "/begin":
                depth += 1
            elif words[at] == "/end":
                depth -= 1
                if depth == 0:
                    return at + 2
            at += 1

    def go(self, option: Option) -> "Cursor":
        """Stand on the first word after a keyword."""
        self.at = option.at + 1
        return self

    def inner(self, option: Option) -> list[str]:
        """The words of an inner block."""
        return self.words[option.at + 1 : option.end]


def unquoted(word: str) -> str:
    """The text of a word in quotes, escapes resolved.

    >>> unquoted('"a ""b"" 1"')
    'a "b" 1'
    """
    inner = word[1:-1]
    if '"' not in inner and "\\" not in inner:
        return inner
    return _ESCAPE.sub(lambda m: '"' if m[1] is None else _ESCAPED.get(m[1], m[1]), inner)
