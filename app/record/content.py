"""The content store: blobs keyed by SHA-256 inside the database, each verified whenever it is read.

Blobs live in rows and not in files: they commit with the act that brings them, a backup of the database holds them
all, and a revision of a kilobyte costs a kilobyte instead of a file system block. A blob close to another one is
kept as the changed runs against it; chains of such blobs are read in one query and applied in one pass.
"""

import datetime as dt
import hashlib

import zstandard
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.calc.calibration import codec
from app.errors import AppError, Damaged, NotFound
from app.record.tables import Content

MAX_DEPTH = 24
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
    select chain.hop, c.size, c.coding, c.data from chain join content c on c.sha256 = chain.sha256
    """
)


def put(session: Session, data: bytes, *, at: dt.datetime, base: str | None = None) -> str:
    """Store `data` and return its SHA-256; bytes that are there already are not stored again.

    `base` names a stored blob that `data` was made from: the difference is kept when that is smaller.
    """
    digest = hashlib.sha256(data).hexdigest()
    if session.get(Content, digest) is not None:
        return digest
    row = _as_runs(session, digest, data, base, at) if base is not None else None
    session.add(row or _whole(digest, data, at))
    session.flush()
    return digest


def _as_runs(session: Session, digest: str, data: bytes, base: str | None, at: dt.datetime) -> Content | None:
    parent = session.get(Content, base)
    if parent is None or parent.depth >= MAX_DEPTH or parent.size != len(data):
        return None
    coded = codec.encode(fetch(session, parent.sha256), data)
    if len(coded) > len(data) // 8:
        return None
    return Content(
        sha256=digest,
        size=len(data),
        coding="runs",
        base_sha256=parent.sha256,
        depth=parent.depth + 1,
        data=coded,
        at=at,
    )


def _whole(digest: str, data: bytes, at: dt.datetime) -> Content:
    packed = zstandard.ZstdCompressor(level=_COMPRESS_LEVEL).compress(data)
    coding, stored = ("zstd", packed) if len(packed) < _WORTH_IT * len(data) else ("raw", data)
    return Content(sha256=digest, size=len(data), coding=coding, base_sha256=None, depth=0, data=stored, at=at)


def exists(session: Session, digest: str) -> bool:
    return session.get(Content, digest) is not None


def fetch(session: Session, digest: str) -> bytes:
    """The bytes whose SHA-256 is `digest`; NotFound, or Damaged when what is stored gives other bytes."""
    rows = sorted(session.execute(_CHAIN, {"sha256": digest}), key=lambda row: -row.hop)
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
