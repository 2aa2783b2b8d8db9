"""A payload coded as the runs in which it differs from a base payload.

A revision of a calibration changes a few hundred cells of some maps. What is kept of it is where the changed cells
lie and a small number for each, and these are compressed. The small number is what remains after a guess from the
base: a region raised by 5 % leaves nothing but zeros, once "5 %" is written down.

    byte       how the body is compressed: index in COMPRESSIONS
    varints    base length, new length, body length
    body       (compressed) packed runs of bytes, packed runs of 16-bit words, then the bytes by which the new
               payload is longer

A varint is little-endian in groups of 7 bits, the high bit set on all but the last byte. Decoding checks every
count against the lengths given and raises Damaged; it never allocates more than the payload's own size allows.
"""

import io
import lzma
import zlib
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import zstandard
from numpy.typing import NDArray

from app.calc.calibration.coded_runs import Cursor, PackedRuns, read_packed, varint
from app.calc.calibration.run_chain import RunChain
from app.calc.calibration.run_model import fit_runs
from app.errors import Damaged, TooLarge

MAX_SIZE = 256 << 20
COMPRESSIONS = ("none", "deflate", "lzma", "zstd")

_SMALL, _LARGE = 16 << 10, 1 << 20
_LZMA = [
    {
        "id": lzma.FILTER_LZMA1,
        "dict_size": 1 << 16,
        "lc": 1,
        "lp": 0,
        "pb": 0,
        "mode": lzma.MODE_NORMAL,
        "nice_len": 273,
        "mf": lzma.MF_HC3,
    }
]
_ZSTD_WINDOW_LOG = 27


def encode(base: bytes, new: bytes) -> bytes:
    """`new` coded against `base`; `decode(base, encode(base, new)) == new` for any two payloads.

    Payloads of different length are coded too: what is beyond the shorter one is kept as it is.
    """
    if max(len(base), len(new)) > MAX_SIZE:
        raise TooLarge(f"A payload of more than {MAX_SIZE >> 20} MiB cannot be stored against a base.")
    common = min(len(base), len(new))
    parts = fit_runs(memoryview(base)[:common], memoryview(new)[:common])
    body = b"".join([*(part.pack() for part in parts), new[common:]])
    kind, packed = _compress(body)
    return b"".join((bytes((kind,)), varint(len(base)), varint(len(new)), varint(len(body)), packed))


def decode(base: bytes, coded: bytes) -> bytes:
    """The payload coded against `base`; Damaged when `coded` is not a coding against a payload of this length."""
    return apply_chain(base, (coded,))


def apply_chain(base: bytes, chain: Iterable[bytes]) -> bytes:
    """The payload at the end of a chain: the first coded against `base`, each other against the one before.

    The base is copied once, however long the chain is.
    """
    target, size, steps = io.BytesIO(base), len(base), list[_Step]()
    for coded in chain:
        step = _read_step(coded, size)
        steps.append(step)
        if step.size != size:
            _apply(target, steps, size)
            _resize(target, min(step.size, size), step.tail)
            size, steps = step.size, []
    _apply(target, steps, size)
    return target.getvalue()


class _Step(NamedTuple):
    """One coding, read: runs of bytes, runs of words, the new length, the bytes beyond the base's."""

    single: PackedRuns | None
    double: PackedRuns | None
    size: int
    tail: bytes


def _read_step(coded: bytes, size: int) -> _Step:
    cursor = Cursor(coded, 1)
    base_size, new_size, body_size = cursor.varint(), cursor.varint(), cursor.varint()
    if base_size != size:
        raise Damaged(f"A stored difference is for a base of {base_size} bytes, the base has {size}.")
    if max(new_size, body_size) > MAX_SIZE:
        raise Damaged("A stored difference speaks of more bytes than any image has.")
    body = Cursor(_decompress(coded[0], memoryview(coded)[cursor.at :], body_size), 0)
    common = min(base_size, new_size)
    single, double, tail = read_packed(body, common, 1), read_packed(body, common, 2), body.rest()
    if len(tail) != new_size - common:
        raise Damaged("A stored difference does not end where it should.")
    return _Step(single, double, new_size, tail)


def _apply(target: io.BytesIO, steps: list[_Step], size: int) -> None:
    if not steps:
        return
    single, double = RunChain([step.single for step in steps], 1), RunChain([step.double for step in steps], 2)
    state: NDArray[np.uint8] = np.frombuffer(target.getbuffer(), np.uint8, size)
    for k in range(len(steps)):
        single.apply(k, state)
        double.apply(k, state)


def _resize(target: io.BytesIO, size: int, tail: bytes) -> None:
    target.seek(size)
    target.truncate()
    target.write(tail)


def _compress(body: bytes) -> tuple[int, bytes]:
    """The smallest for the usual kilobytes, but deflate unless another saves more than an eighth: of a chain of
    twenty, undoing them takes a third of the time. A fast compression for larger bodies, where the smallest would
    save a tenth and take forty times as long.
    """
    if len(body) > _SMALL:
        return min(((0, body), (3, _zstd(body, 12 if len(body) <= _LARGE else 3))), key=_length)
    quick = min(((0, body), (1, _deflate(body))), key=_length)
    small = min(((2, _lzma(body)), (3, _zstd(body, 19))), key=_length)
    return small if _length(small) < _length(quick) * 7 // 8 else quick


def _length(entry: tuple[int, bytes]) -> int:
    return len(entry[1])


def _deflate(body: bytes) -> bytes:
    compressor = zlib.compressobj(9, zlib.DEFLATED, -15, 9)
    return compressor.compress(body) + compressor.flush()


def _lzma(body: bytes) -> bytes:
    return lzma.compress(body, lzma.FORMAT_RAW, filters=_LZMA)


def _zstd(body: bytes, level: int) -> bytes:
    parameters = zstandard.ZstdCompressionParameters.from_level(
        level, format=zstandard.FORMAT_ZSTD1_MAGICLESS, write_content_size=0, write_checksum=0
    )
    return zstandard.ZstdCompressor(compression_params=parameters).compress(body)


def _decompress(kind: int, packed: memoryview, size: int) -> bytes:
    """Exactly `size` bytes, or Damaged; no compression may give more than was announced."""
    try:
        if kind == 0:
            body = bytes(packed) if len(packed) == size else b""
        elif kind == 1:
            body = zlib.decompressobj(-15).decompress(packed, size + 1)
        elif kind == 2:
            body = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=_LZMA).decompress(packed, size + 1)
        elif kind == 3:
            reader = zstandard.ZstdDecompressor(
                format=zstandard.FORMAT_ZSTD1_MAGICLESS, max_window_size=1 << _ZSTD_WINDOW_LOG
            ).stream_reader(packed)
            body = reader.read(size + 1)
        else:
            raise Damaged(f"A stored difference is compressed in a way ({kind}) that this version does not know.")
    except (zlib.error, lzma.LZMAError, zstandard.ZstdError, EOFError) as problem:
        raise Damaged(f"A stored difference cannot be decompressed ({problem}).") from problem
    if len(body) != size:
        raise Damaged(f"A stored difference should hold {size} bytes and gives {len(body)}.")
    return body
