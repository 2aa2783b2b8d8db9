"""Bags after RFC 8493 (BagIt 1.0): a folder of payload with its manifests, written and read without trust.

Nothing outside the folder is ever read: names that climb, absolute names, links and files that no manifest lists are
refused before any byte is used. Nothing is fetched from elsewhere.
"""

import hashlib
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from app.calc.number_text import counted
from app.errors import BadInput, Damaged, TooLarge

DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
MOST_FILES = 200_000
MOST_BYTES = 64 * 2**30
_TAG_LIMIT = 64 * 2**20
_LINE = re.compile(r"([0-9A-Fa-f]{64})[ \t]+(\S.*)")
_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag that is complete and whose every file has the digest of its manifest (RFC 8493, section 3: "valid")."""

    folder: Path
    payload: Mapping[str, str]
    manifest_digest: str

    def read(self, name: str, limit: int) -> bytes:
        """A payload file, its digest computed again; Damaged when it changed since, TooLarge above `limit` bytes."""
        if name not in self.payload:
            raise BadInput(f"The bag holds no {name}.", where=name)
        data = _read(self.folder, name, limit)
        if hashlib.sha256(data).hexdigest() != self.payload[name]:
            raise Damaged(f"{name} changed while the bag was read.", where=name)
        return data


def manifest(digests: Mapping[str, str]) -> bytes:
    """A manifest's text: digest, two spaces, name; CR, LF and % in a name as %0D, %0A and %25 (section 2.1.3)."""
    lines = [f"{digest}  {_encoded(name)}\n" for name, digest in sorted(digests.items())]
    return "".join(lines).encode()


def tag_files(payload: Mapping[str, str], octets: int, info: Mapping[str, str]) -> dict[str, bytes]:
    """Name → bytes of every tag file for a payload of these digests and this many bytes.

    `info` are further lines of bag-info.txt; line ends inside a value become spaces.
    """
    lines = {**info, "Payload-Oxum": f"{octets}.{len(payload)}"}
    text = "".join(f"{label}: {' '.join(value.split())}\n" for label, value in lines.items())
    files = {"bagit.txt": DECLARATION, "bag-info.txt": text.encode(), MANIFEST: manifest(payload)}
    return {**files, TAG_MANIFEST: manifest({name: hashlib.sha256(data).hexdigest() for name, data in files.items()})}


def open_bag(folder: Path) -> Bag:
    """Read a bag and check it whole.

    BadInput for a folder that is no bag or tries a path trick, Damaged for a file that is missing, not listed or
    changed, TooLarge beyond what one vehicle's record can be.
    """
    if not folder.is_dir():
        raise BadInput(f"{folder} is no folder; give the folder of the bag.")
    present = _present(folder)
    if _read_tag(folder, present, "bagit.txt").replace(b"\r\n", b"\n").strip(b"\n") != DECLARATION.strip(b"\n"):
        raise BadInput("bagit.txt does not declare a bag of BagIt 1.0 in UTF-8.", where="bagit.txt")
    if "fetch.txt" in present:
        raise BadInput("This bag wants files fetched from elsewhere; ask for a complete one.", where="fetch.txt")
    text = _read_tag(folder, present, MANIFEST)
    payload = parse_manifest(text, MANIFEST)
    tags = parse_manifest(_read_tag(folder, present, TAG_MANIFEST), TAG_MANIFEST)
    _check_names(payload, tags, present)
    for name, digest in {**tags, **payload}.items():
        if _digest(folder, name) != digest:
            raise Damaged(f"{name} was changed: its SHA-256 is not the one in the manifest.", where=name)
    return Bag(folder, payload, hashlib.sha256(text).hexdigest())


def parse_manifest(data: bytes, name: str) -> dict[str, str]:
    """Name → digest, from a manifest's text; BadInput for a line that is none, or a name that leaves the bag."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise BadInput(f"{name} is no UTF-8 text.", where=name) from None
    found: dict[str, str] = {}
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        if not line:
            continue
        match = _LINE.fullmatch(line)
        where = f"{name}, line {number}"
        if match is None:
            raise BadInput("A line of the manifest must be a SHA-256 and a name.", where=where)
        path = _safe(_decoded(match[2]), where)
        if path in found:
            raise BadInput(f"{path[:80]} is listed twice.", where=where)
        found[path] = match[1].lower()
    return found


def _encoded(name: str) -> str:
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _decoded(name: str) -> str:
    return re.sub("%(0[Aa]|0[Dd]|25)", lambda match: chr(int(match[1], 16)), name)


def _safe(name: str, where: str) -> str:
    """A relative name below the bag; BadInput for anything else."""
    parts = name.split("/")
    bad = not name or name.startswith(("/", "~")) or "\\" in name or ":" in parts[0]
    if bad or any(part in ("", ".", "..") for part in parts) or any(ord(c) < 32 or ord(c) == 127 for c in name):
        raise BadInput(f"The name {name[:80]!r} leads out of the bag or is none; nothing was read.", where=where)
    return str(PurePosixPath(name))


def _present(folder: Path) -> dict[str, int]:
    """Name → size of every file in the folder; BadInput for a link or anything that is no plain file."""
    found: dict[str, int] = {}
    waiting = [folder]
    while waiting:
        for path in waiting.pop().iterdir():
            status = path.lstat()
            name = path.relative_to(folder).as_posix()
            if stat.S_ISDIR(status.st_mode):
                waiting.append(path)
            elif stat.S_ISREG(status.st_mode):
                found[name] = status.st_size
            else:
                raise BadInput(f"{name} is a link or no plain file; a bag holds files only.", where=name)
            if len(found) > MOST_FILES or len(waiting) > MOST_FILES:
                raise TooLarge(f"The bag holds more than {MOST_FILES:,} files.")
    if sum(found.values()) > MOST_BYTES:
        raise TooLarge(f"The bag holds more than {MOST_BYTES >> 30} GiB.")
    return found


def _check_names(payload: Mapping[str, str], tags: Mapping[str, str], present: Mapping[str, int]) -> None:
    for name in payload:
        if not name.startswith("data/"):
            raise BadInput(f"{name} is listed as payload, but lies outside data/.", where=name)
    for name in tags:
        if name.startswith("data/") or name == TAG_MANIFEST:
            raise BadInput(f"{name} does not belong in the manifest of the tag files.", where=name)
    missing = sorted((payload.keys() | tags.keys()) - present.keys())
    if missing:
        raise Damaged(
            f"{missing[0]} is missing; {counted(len(missing), 'listed file is', 'listed files are')} not there.",
            where=missing[0],
        )
    unlisted = sorted(name for name in present if name.startswith("data/") and name not in payload)
    if unlisted:
        raise Damaged(f"{unlisted[0]} is in no manifest: somebody added it.", where=unlisted[0])
    for name in ("bagit.txt", MANIFEST):
        if name not in tags:
            raise BadInput(f"{name} is not in the manifest of the tag files.", where=TAG_MANIFEST)


def _read_tag(folder: Path, present: Mapping[str, int], name: str) -> bytes:
    if name not in present:
        raise BadInput(f"This folder is no bag: it has no {name}.", where=name)
    return _read(folder, name, _TAG_LIMIT)


def _read(folder: Path, name: str, limit: int) -> bytes:
    with (folder / name).open("rb") as file:
        data = file.read(limit + 1)
    if len(data) > limit:
        raise TooLarge(f"{name} is larger than {limit >> 20} MiB.", where=name)
    return data


def _digest(folder: Path, name: str) -> str:
    whole = hashlib.sha256()
    with (folder / name).open("rb") as file:
        while part := file.read(_AT_ONCE):
            whole.update(part)
    return whole.hexdigest()
