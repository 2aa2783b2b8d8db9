"""The content store: blobs keyed by SHA-256 inside the database, each verified whenever it is read.

Blobs live in rows and not in files: they commit with the act that brings them, a backup of the database holds them
all, and a revision of a kilobyte costs a kilobyte instead of a file system block. A blob close to another one is
kept as the changed runs against it; chains of such blobs are read in one query and applied in one pass. A chain that
has become too long goes on from a blob nearer its root.
"""

import datetime as dt
import hashlib
from typing import Any

import zstandard
from sqlalchemy import Row, text
from sqlalchemy.orm import Session

from app.calc.calibration import codec
from app.errors import AppError, Damaged, NotFound
from app.record.tables import Content

# Reading at this depth takes about twice as long as a raw blob with its digest. What goes on from nearer the root says
# again what changed since there, so that deeper is smaller: a line of revisions doubles its bytes beyond this length.
MAX_DEPTH = 64
_TRIED = 4
# Far beyond any upload: a damaged row that claims more is not even allocated.
_LARGEST = 1 << 28
_COMPRESS_LEVEL = 3
_WORTH_IT = 0.9

# The blobs are joined at the end: carried through the recursion, each would be copied at every step.
_CHAIN = text(
    """
    with recursive chain(sha256, base_sha256, hop) as (
        select sha256, base_sha256, 0 from content where sha256 = :sha256
        union all
        select c.sha256, c.base_sha256, chain.hop + 1
        from content c join chain on c.sha256 = chain.base_sha256
        where chain.hop < 100
    )
    select chain.hop, c.sha256, c.size, c.coding, c.data from chain join content c on c.sha256 = chain.sha256
    """
)


def put(
    session: Session, data: bytes, *, at: dt.datetime, base: str | None = None, base_data: bytes | None = None
) -> str:
    """Store `data` and return its SHA-256; bytes that are there already are not stored again.

    `base` names a stored blob that `data` was made from: the difference is kept when that is smaller. `base_data` are
    its bytes where `fetch` has just given them; others would make a blob that never comes back.
    """
    digest = hashlib.sha256(data).hexdigest()
    if session.get(Content, digest) is not None:
        return digest
    row = _as_runs(session, digest, data, base, base_data, at) if base is not None else None
    session.add(row or _whole(digest, data, at))
    session.flush()
    return digest


def _as_runs(
    session: Session, digest: str, data: bytes, base: str, base_data: bytes | None, at: dt.datetime
) -> Content | None:
    parent = session.get(Content, base)
    if parent is None or parent.size != len(data):
        return None
    if parent.depth < MAX_DEPTH:
        known = fetch(session, base) if base_data is None else base_data
        depth, coded = parent.depth, codec.encode(known, data)
    else:
        depth, base, coded = _nearer_the_root(session, parent.sha256, data)
    if len(coded) > len(data) // 8:
        return None
    return Content(sha256=digest, size=len(data), coding="runs", base_sha256=base, depth=depth + 1, data=coded, at=at)


def _nearer_the_root(session: Session, parent: str, data: bytes) -> tuple[int, str, bytes]:
    """Depth and digest of the ancestor of a parent at MAX_DEPTH to code `data` against, and the coding.

    The nearer the root, the more has changed since, but the longer it is until a chain of what follows is full
    again. The ancestor whose coding costs the fewest bytes for each link that it leaves room for is taken.
    """
    chain = [row.sha256 for row in _from_the_root(session, parent)]
    tried = (
        (depth, chain[depth], codec.encode(fetch(session, chain[depth]), data))
        for depth in range(0, min(MAX_DEPTH, len(chain)), max(1, MAX_DEPTH // _TRIED))
    )
    return min(tried, key=lambda one: len(one[2]) / (MAX_DEPTH - one[0]))


def _whole(digest: str, data: bytes, at: dt.datetime) -> Content:
    packed = zstandard.ZstdCompressor(level=_COMPRESS_LEVEL).compress(data)
    coding, stored = ("zstd", packed) if len(packed) < _WORTH_IT * len(data) else ("raw", data)
    return Content(sha256=digest, size=len(data), coding=coding, base_sha256=None, depth=0, data=stored, at=at)


def exists(session: Session, digest: str) -> bool:
    return session.get(Content, digest) is not None


def fetch(session: Session, digest: str) -> bytes:
    """The bytes whose SHA-256 is `digest`; NotFound, or Damaged when what is stored gives other bytes."""
    rows = _from_the_root(session, digest)
    if not rows:
        raise NotFound(f"No stored file has the digest {digest[:16]}….")
    try:
        data = _unpack(rows[0].size, rows[0].coding, bytes(rows[0].data))
        data = codec.apply_chain(data, [bytes(row.data) for row in rows[1:]])
    except (AppError, zstandard.ZstdError, ValueError) as error:
        raise _damaged(digest) from error
    if hashlib.sha256(data).hexdigest() != digest:
        raise _damaged(digest)
    return data


def _from_the_root(session: Session, digest: str) -> list[Row[Any]]:
    """A blob and all that it is coded against, the root first; empty when there is no such blob."""
    return sorted(session.execute(_CHAIN, {"sha256": digest}), key=lambda row: -row.hop)


def _unpack(size: int, coding: str, stored: bytes) -> bytes:
    if coding == "raw":
        return stored
    # A damaged frame may claim any size; only the recorded one is allocated.
    if coding != "zstd" or not 0 <= size <= _LARGEST or zstandard.frame_content_size(stored) != size:
        raise ValueError("not a stored frame of the recorded size")
    return zstandard.ZstdDecompressor().decompress(stored)


def _damaged(digest: str) -> Damaged:
    return Damaged(
        f"The stored file {digest[:16]}… is damaged: its bytes no longer give this digest. "
        "Nothing of it is used; recover it from a backup."
    )
