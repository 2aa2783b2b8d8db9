"""The text of an A2L file and its block structure (ASAM MCD-2 MC / ASAP2 1.6).

One scan over the text finds every /begin and /end outside strings and comments and checks that they pair. Only
the children of each MODULE are kept, as positions; their words are read when somebody asks for them.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from app.errors import BadInput

Progress = Callable[[int, int], None]

# A string ends where white space, a comment or the file follows; anything else means a quote is missing. The
# possessive forms keep the scan linear on damaged files.
_STRING = r'"(?:[^"\\]++|\\.|"")*+"'
_COMMENT = r"/\*(?:[^*]++|\*(?!/))*+\*/|//[^\n]*+"
_GAP = rf"(?:\s++|{_COMMENT})++"
_SCAN = re.compile(
    rf'{_STRING}(?![^\s/])|{_COMMENT}|/begin{_GAP}([^\s/"]++)|/end{_GAP}([^\s/"]++)|("|/\*|/begin|/end|/include)',
    re.S,
)
_TOKEN = re.compile(rf'{_STRING}|{_COMMENT}|\s++|/begin|/end|[^\s/"]++|.', re.S)
_WORD = re.compile(rf'{_STRING}|/begin|/end|[^\s/"]++|[/"]', re.S)
_A2ML_END = re.compile(r"/end\s+A2ML\b")
_REPORT_EVERY = 1 << 20


@dataclass(frozen=True, slots=True)
class Block:
    """Content of one /begin … /end as text positions."""

    keyword: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Module:
    """One MODULE: its name and the blocks directly inside it, by keyword, in file order."""

    name: str
    blocks: dict[str, list[Block]]


@dataclass(frozen=True, slots=True)
class Source:
    """The decoded text of an A2L file."""

    text: str

    @classmethod
    def of(cls, data: bytes) -> "Source":
        """Decode UTF-8, UTF-16 with byte order mark, else Latin-1; BadInput for empty or binary data."""
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            try:
                text = data.decode("utf-16")
            except UnicodeDecodeError as problem:
                raise BadInput("The file begins as UTF-16 text but is not; export it again.") from problem
        else:
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("latin-1")
        if "\0" in text:
            line = text.count("\n", 0, text.index("\0")) + 1
            raise BadInput("This is not a text file: it holds zero bytes.", where=f"line {line}")
        if not text.strip():
            raise BadInput("The file is empty.", where="line 1")
        return cls(text)

    def bad(self, sentence: str, position: int) -> BadInput:
        """An error at a text position, with its line."""
        return BadInput(sentence, where=f"line {self.text.count(chr(10), 0, position) + 1}")

    def words(self, start: int, end: int) -> list[str]:
        """All words between two positions, without comments."""
        text = self.text
        if text.find("/*", start, end) < 0 and text.find("//", start, end) < 0:
            return _WORD.findall(text, start, end)
        return [w for w in _TOKEN.findall(text, start, end) if not w.isspace() and w[:2] not in ("/*", "//")]

    def position_of_word(self, start: int, end: int, index: int) -> int:
        """Text position of the word that `words` has at `index`; `end` when there is none."""
        k = 0
        for match in _TOKEN.finditer(self.text, start, end):
            word = match.group()
            if word.isspace() or word[:2] in ("/*", "//"):
                continue
            if k == index:
                return match.start()
            k += 1
        return end


@dataclass(slots=True)
class _Open:
    keyword: str
    at: int
    content: int


class Scanner:
    """The one scan. `modules` is the result; `skipped` the unknown words outside any block."""

    def __init__(self, source: Source, progress: Progress | None) -> None:
        self.source, self.progress = source, progress
        self.stack: list[_Open] = []
        self.gap = 0
        self.modules: list[Module] = []
        self.skipped: dict[str, None] = {}
        self.headers: dict[str, int] = {}

    def run(self) -> "Scanner":
        text, total, at, next_report = self.source.text, len(self.source.text), 0, _REPORT_EVERY
        matches = _SCAN.finditer(text)
        while (match := next(matches, None)) is not None:
            if match.lastindex is None:
                continue
            if match.lastindex == 1:
                at = self.open(match)
                if match[1] == "A2ML":
                    matches = _SCAN.finditer(text, self.end_of_a2ml(match.start(), at))
            elif match.lastindex == 2:
                self.close(match)
            else:
                raise self.broken(match)
            if self.progress and match.end() >= next_report:
                self.progress(match.end(), total)
                next_report = match.end() + _REPORT_EVERY
        self.finish()
        return self

    def open(self, match: re.Match[str]) -> int:
        depth = len(self.stack)
        if depth <= 2:
            self.between(match.start())
            if depth == 0 and (match[1] != "PROJECT" or self.modules):
                raise self.source.bad(f"{match[1]} stands where the only PROJECT is expected.", match.start())
            if depth == 1 and match[1] not in ("MODULE", "HEADER"):
                self.skipped[match[1]] = None
            if depth == 1 and match[1] == "MODULE":
                self.modules.append(Module("", {}))
        self.stack.append(_Open(match[1], match.start(), match.end()))
        self.gap = match.end()
        return match.end()

    def close(self, match: re.Match[str]) -> None:
        if not self.stack:
            raise self.source.bad(f"/end {match[2]} closes a block that was never opened.", match.start())
        top = self.stack[-1]
        if top.keyword != match[2]:
            line = self.source.text.count("\n", 0, top.at) + 1
            raise self.source.bad(
                f"/end {match[2]} stands where /end {top.keyword} is expected for the block opened in line {line}.",
                match.start(),
            )
        if len(self.stack) <= 2:
            self.between(match.start())
        self.stack.pop()
        if len(self.stack) == 2 and self.stack[1].keyword == "MODULE":
            block = Block(top.keyword, top.content, match.start())
            self.modules[-1].blocks.setdefault(top.keyword, []).append(block)
        self.gap = match.end()

    def between(self, end: int) -> None:
        """Words outside the inner blocks: the names of PROJECT and MODULE, version words, unknown ones."""
        start, depth = self.gap, len(self.stack)
        words = self.source.words(start, end) if not self.source.text[start:end].isspace() else []
        if depth and self.stack[-1].content == start and self.stack[-1].keyword in ("PROJECT", "MODULE"):
            if len(words) < 2 or words[0].startswith('"') or not words[1].startswith('"'):
                raise self.source.bad(f"{self.stack[-1].keyword} needs a name and a description in quotes.", start)
            if self.stack[-1].keyword == "MODULE":
                self.modules[-1] = Module(words[0], {})
            words = words[2:]
        if depth and self.stack[-1].keyword not in ("PROJECT", "MODULE"):
            return
        known = ("ASAP2_VERSION", "A2ML_VERSION")
        for word in words:
            if word[0].isalpha() and word not in known:
                self.skipped[word] = None

    def end_of_a2ml(self, begin: int, content: int) -> int:
        found = _A2ML_END.search(self.source.text, content)
        if found is None:
            raise self.source.bad("The block A2ML is not closed; the file is cut off or damaged.", begin)
        return found.start()

    def broken(self, match: re.Match[str]) -> BadInput:
        sentence = {
            '"': "A text in quotes that begins here is not closed.",
            "/*": "A comment that begins here is not closed.",
            "/include": "The file includes another one; join them to one file first.",
        }.get(match[3], f"{match[3]} is not followed by a keyword; the file is cut off or damaged.")
        return self.source.bad(sentence, match.start())

    def finish(self) -> None:
        if self.stack:
            top = self.stack[-1]
            raise self.source.bad(
                f"The block {top.keyword} that begins here is not closed; the file is cut off or damaged.", top.at
            )
        self.gap_after_project()
        if not self.modules:
            raise self.source.bad("This is not an A2L file: it has no PROJECT with a MODULE.", 0)

    def gap_after_project(self) -> None:
        rest = self.source.words(self.gap, len(self.source.text))
        if self.modules and rest and rest != ["\x1a"]:
            raise self.source.bad(f"{rest[0][:40]!r} stands after the end of the project.", self.gap)
