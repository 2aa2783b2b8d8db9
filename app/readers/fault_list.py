"""A fault list as pasted from any scan tool: told by structure, never by whose list it is."""

import re
from collections.abc import Iterable, Iterator

from app.calc.vehicle.dtc import PERMANENT, STATUS_FLAGS, Dtc, Fault, decode_dtc, decode_status
from app.errors import BadInput, TooLarge

MAX_CHARACTERS = 1_000_000
_TEXT_LIMIT = 200

# A failure type needs a hyphen or colon without blanks, or no separator; two small letters are a word, not a
# type.
_CODE = re.compile(
    r"(?<![0-9A-Za-z])(?P<code>[PCBUpcbu][0-3][0-9A-Fa-f]{3})"
    r"(?:[-:]?(?P<type>(?:[0-9][0-9A-Fa-f]|[A-Fa-f][0-9]|[A-F]{2})))?(?![0-9A-Za-z])"
)
# A slip at the place of a code, such as the letter O for a zero or P4133.
_SLIP = re.compile(r"[PCBUpcbu][0-9OoIl][0-9A-FOIa-fol]{3,4}(?![0-9A-Za-z])")
_BULLET = re.compile(r"\s*(?:[-*•·]+\s+|#?\d{1,4}[.)]\s+|#\d{1,4}:?\s+|\d{1,4}\s*[;|\t]\s*)?")
# Codes as sent on the bus, a line each: two bytes, or three with the failure type.
_BYTES = re.compile(r"(?:[0-9A-Fa-f]{2} ){1,2}[0-9A-Fa-f]{2}")
_LABEL = re.compile(
    r"(?:(?:fault|error|trouble|diagnostic|stored)\s+){0,3}(?:dtcs?|codes?|faults?|errors?|no\.?|number)(?:\s+\d+)?",
    re.I,
)
_HEADING_LABEL = re.compile(r"(?:control\s+)?(?:module|unit|ecu|address)\b[\s:=-]*", re.I)
_CELL = re.compile(r"(\s*[\t;|]\s*|\s+[-–—]\s+|,\s+)")
_BRACKET = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_STATUS_LABEL = re.compile(r"\bstatus(?:\s+byte)?\s*[:=]?\s*(0x[0-9a-f]{2}|[01]{8}|[0-9a-f]{2})(?![0-9a-z])", re.I)
_STATUS_BYTE = re.compile(r"(?:0x)?([0-9a-f]{2})h?|([01]{8})", re.I)
# A table cell of two decimal digits may be a count; with a leading zero, a letter or 0x it is a byte.
_COUNT = re.compile(r"[1-9][0-9]")
_STATUS_START = re.compile(r"(?:status|state|type)\s*[:=]\s*", re.I)

_STATUS_WORDS: dict[str, tuple[str, ...]] = {
    "confirmed": ("confirmed",),
    "stored": ("confirmed",),
    "history": ("confirmed",),
    "historic": ("confirmed",),
    "memory": ("confirmed",),
    "intermittent": ("confirmed",),
    "sporadic": ("confirmed",),
    "passive": ("confirmed",),
    "inactive": ("confirmed",),
    "not active": ("confirmed",),
    "not present": ("confirmed",),
    "active": ("test_failed",),
    "current": ("test_failed",),
    "present": ("test_failed",),
    "static": ("test_failed",),
    "pending": ("pending",),
    "permanent": (PERMANENT,),
    "mil": ("warning_indicator_requested",),
    "mil on": ("warning_indicator_requested",),
    "lamp on": ("warning_indicator_requested",),
    "warning lamp on": ("warning_indicator_requested",),
}
# Standard descriptions end with words such as "circuit intermittent", "memory" or "lamp"; with these none does.
_NEVER_DESCRIBES = ("confirmed", "stored", "history", "historic", "sporadic", "pending", "permanent", "mil on")


def _any_of(words: Iterable[str]) -> str:
    return rf"(?:{'|'.join(sorted(words, key=len, reverse=True))})\b"


_MORE = rf"(?:\s*(?:[/&+]|\band\b)?\s*{_any_of(_STATUS_WORDS)})*"
_AT_END = re.compile(
    rf"(?<=\s)(?:(?:status|state)\s*[:=]?\s*{_any_of(_STATUS_WORDS)}|{_any_of(_NEVER_DESCRIBES)}){_MORE}\W*$", re.I
)
_END = 80
_DENIED = re.compile(r"\b(?:not|no|non|never|nor|be|yet|un)[\s-]*$", re.I)
_FLAG_ORDER = (*STATUS_FLAGS, PERMANENT)
_THINGS = r"(?:faults?|dtcs?|errors?|(?:(?:fault|trouble|error|diagnostic)\s+){0,3}codes?|trouble)"
_NONE = re.compile(
    rf"\b(?:no|0|zero)\s+(?:(?:stored|active|pending|confirmed|permanent|current|diagnostic)\s+)?{_THINGS}\b"
    rf"|\b{_THINGS}(?:\s+(?:found|stored|present))?\s*[:=–-]\s*(?:none|nil|0)\b"
    r"|^\W*none\W*$",
    re.I,
)
_UNREAD = re.compile(
    r"no\s+(?:response|communication|answer|connection)|not\s+(?:reachable|readable|scanned|read)\b"
    r"|(?:could\s+not|cannot|unable\s+to)\s+(?:be\s+)?(?:read|reach|communicate|connect|scan|identif)"
    r"|(?:communication|connection|read(?:ing)?|scan)\s+(?:error|failed|failure|fault)|time[d]?[\s-]?out",
    re.I,
)


def read_fault_list(text: str) -> tuple[Fault, ...]:
    """Faults of a pasted list in order; an empty tuple when the text says that there are none.

    Understood: one code per line with text and status (words, or a status byte), tables, lists with commas,
    module headings (`[Engine]`, `Engine:`), sections such as "Pending codes:". The same code twice in one
    module becomes one fault with both statuses. Where no code is written out, lines of two or three hex bytes are
    codes as sent on the bus (SAE J2012); beside written codes they may be anything and are text. Raises BadInput
    when nothing is readable, when a code is misspelt, or when the scan says that a control unit could not be read:
    that is no clean scan.
    """
    if len(text) > MAX_CHARACTERS:
        raise TooLarge(f"The fault list has {len(text):,} characters; the most accepted is {MAX_CHARACTERS:,}.")
    scan = _Scan()
    for number, line in enumerate(text.splitlines(), start=1):
        scan.take(line, f"line {number}")
    if not scan.found and not scan.says_none:
        scan.take_bytes(text)
    if not scan.found and not scan.says_none:
        raise BadInput("No fault code was found, and no statement that there are none; paste the list as shown.")
    return tuple(scan.found.values())


class _Scan:
    """Reads line by line: the module and status section in force, and the fault a following line may belong to."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, Dtc], Fault] = {}
        self.says_none = False
        self.module = ""
        self.section: tuple[str, ...] = ()
        self.last: tuple[str, Dtc] | None = None

    def take(self, line: str, where: str) -> None:
        if not line.strip():
            self.last = None
            return
        line = _BULLET.sub("", re.sub(r"[^\S\t]+", " ", line), count=1)
        codes = list(_items(line))
        if codes:
            self._faults(line, codes)
        elif _UNREAD.search(line):
            raise BadInput(
                f"The scan says that something was not read (“{line.strip()[:60]}”); scan again, or take "
                "out that line.",
                where=where,
            )
        elif _NONE.search(line):
            self.says_none = True
            self.last = None
        elif slip := _SLIP.match(line.strip()):
            raise BadInput(f"“{slip[0]}” looks like a fault code but is none; check its characters.", where=where)
        else:
            self._plain(line)

    def take_bytes(self, text: str) -> None:
        """Lines that are nothing but the bytes of a code; 00 00 is padding, and a list of it alone says none."""
        self.module, self.section = "", ()
        for line in text.splitlines():
            bare = " ".join(line.split())
            if _BYTES.fullmatch(bare):
                dtc = decode_dtc(bytes.fromhex(bare))
                self.says_none = True
                if dtc is not None:
                    self._add(dtc, self.section, "", self.module)
            elif bare:
                self._plain(line)

    def _faults(self, line: str, codes: list[re.Match[str]]) -> None:
        lead, lead_flags, module = _lead(line[: codes[0].start()])
        for n, code in enumerate(codes):
            end = codes[n + 1].start() if n + 1 < len(codes) else len(line)
            text, flags = _status(line[code.end() : end])
            dtc = Dtc(code["code"].upper(), code["type"].upper() if code["type"] else None)
            text = " ".join(filter(None, (lead if n == 0 else "", "" if text == "and" else text)))
            self._add(dtc, (*lead_flags, *(flags or self.section)), text, module or self.module)

    def _add(self, dtc: Dtc, flags: tuple[str, ...], text: str, module: str) -> None:
        key = (module, dtc)
        known = self.found.get(key, Fault(dtc, (), "", module))
        merged = tuple(f for f in _FLAG_ORDER if f in known.flags or f in flags)
        self.found[key] = Fault(dtc, merged, known.text or text[:_TEXT_LIMIT], module)
        self.last = key

    def _plain(self, line: str) -> None:
        """A line without a code: a heading, the status or text of the fault above, or page furniture."""
        heading = _heading(line)
        if heading:
            words = re.sub(rf"\b{_THINGS}\b", "", heading, flags=re.I).split()
            flags = _status_words(" ".join(words)) if len(words) < len(heading.split()) else None
            if flags is None and words:
                self.module, self.section = heading, ()
            else:
                self.section = flags or ()
            self.last = None
        elif self.last is not None:
            fault = self.found[self.last]
            text, flags = _status(line)
            self._add(fault.dtc, flags, "" if fault.text else text, fault.module)


def _items(line: str) -> Iterator[re.Match[str]]:
    """Codes that start an entry: the first on the line, and each after a separator or directly after another."""
    last: re.Match[str] | None = None
    last_is_entry = True
    for code in _CODE.finditer(line):
        between = line[last.end() if last else 0 : code.start()]
        bare = between.rstrip(" ")
        beside = bare.endswith((",", "/")) or _status(between)[0] in ("", "and")
        if last is None or bare.endswith((";", "|", "\t", "•")) or (last_is_entry and beside):
            last_is_entry = True
            yield code
        else:
            last_is_entry = False
        last = code


def _lead(before: str) -> tuple[str, tuple[str, ...], str]:
    """(text, flags, module) of what stands before the first code on a line."""
    cells = [c.strip(" :-–—\"'") for c in re.split(r"[\t;|]|:(?=\s|$)|\s[-–—](?:\s|$)|,\s", before)]
    separated = before.rstrip(" ")[-1:] in ":;|\t-–—,"
    text, module = "", ""
    flags: tuple[str, ...] = ()
    for n, cell in enumerate(filter(None, cells)):
        words = _status_words(cell)
        if words is not None:
            flags = (*flags, *words)
        elif cell.isdigit() or _LABEL.fullmatch(cell):
            continue
        elif separated and not (module and n):
            module = _HEADING_LABEL.sub("", cell, count=1) or cell
        else:
            text = f"{text} {cell}".strip()
    return text, flags, module


def _heading(line: str) -> str:
    """The name in `[name]`, `name:`, `# name`, `== name ==`, `Module: name`; empty when the line is no heading."""
    bare = line.strip()
    marked = bare.startswith(("[", "#", "=", "--")) or bare.endswith(":")
    label = _HEADING_LABEL.match(bare)
    if not marked and not (label and label.end() < len(bare)):
        return ""
    name = bare.strip("[]#=-: \t")
    return _HEADING_LABEL.sub("", name, count=1) or name


def _status(text: str) -> tuple[str, tuple[str, ...]]:
    """(text, flags) of what follows a code: whole cells, brackets, labelled bytes and status words at the end of a
    description are status, the rest is text."""
    flags: list[str] = []

    def take_bracket(match: re.Match[str]) -> str:
        words = _status_words(match[1])
        flags.extend(words or ())
        return match[0] if words is None else " "

    def take_byte(match: re.Match[str]) -> str:
        flags.extend(_status_words(match[1]) or ())
        return " "

    text = _STATUS_LABEL.sub(take_byte, text)
    text = _BRACKET.sub(take_bracket, text)
    parts = _CELL.split(text)
    kept = ""
    for n in range(0, len(parts), 2):
        cell = parts[n].strip(" .:\"'")
        words = None if _COUNT.fullmatch(cell) else _status_words(_STATUS_START.sub("", cell, count=1))
        if words is not None:
            flags.extend(words)
        elif cell.isdigit() and n and parts[n - 1].strip(" ") in (";", "|", "\t"):
            continue  # a counter's column
        elif parts[n].strip(" .:-–—\"'/"):
            described, found = _status_at_end(parts[n])
            flags.extend(found)
            kept += (parts[n - 1] if kept and n else "") + described
    return _tidy(kept), tuple(flags)


def _status_at_end(cell: str) -> tuple[str, tuple[str, ...]]:
    """A description without the status words that it ends with, and their flags.

    >>> _status_at_end("Cylinder 1 misfire pending")
    ('Cylinder 1 misfire', ('pending',))
    """
    start = max(0, len(cell) - _END)
    found = _AT_END.search(cell, start)
    if found is None or not cell[: found.start()].strip() or _DENIED.search(cell[start : found.start()]):
        return cell, ()
    words = re.findall(_any_of(_STATUS_WORDS), found[0].lower())
    return cell[: found.start()].rstrip(), tuple(flag for word in words for flag in _STATUS_WORDS[word])


def _tidy(text: str) -> str:
    return re.sub(r"\s*[\t;|]\s*", "; ", text.strip(" \t,;:|/•-–—")).strip("\"' ")


def _status_words(text: str) -> tuple[str, ...] | None:
    """Flags when the whole text is status (words or one byte), None when any of it is something else."""
    bare = " ".join(text.lower().split()).strip(" .:")
    if byte := _STATUS_BYTE.fullmatch(bare):
        return decode_status(int(byte[2], 2) if byte[2] else int(byte[1], 16))
    flags: list[str] = []
    for part in re.split(r"\s*(?:,|/|&|\+|\band\b)\s*", bare):
        words = _STATUS_WORDS.get(part)
        if words is None:
            return None
        flags.extend(words)
    return tuple(flags)
