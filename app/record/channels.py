"""A run's channels as one packed value: a JSON head with names and length, then float64 columns, compressed."""

import json

import numpy as np
import zstandard
from numpy.typing import NDArray

from app.errors import Damaged

Channels = dict[str, NDArray[np.float64]]


def pack(channels: Channels) -> bytes:
    """Columns of equal length → bytes."""
    lengths = {column.shape for column in channels.values()}
    assert len(lengths) == 1, "channels of one run have one length"
    head = json.dumps(list(channels)).encode()
    body = b"".join(np.ascontiguousarray(column, "<f8").tobytes() for column in channels.values())
    return zstandard.ZstdCompressor(level=6).compress(len(head).to_bytes(4, "little") + head + body)


def unpack(packed: bytes) -> Channels:
    """Bytes → columns; Damaged when they are no packed channels."""
    try:
        data = zstandard.ZstdDecompressor().decompress(packed, max_output_size=1 << 28)
        end = 4 + int.from_bytes(data[:4], "little")
        names = json.loads(data[4:end])
        columns = np.frombuffer(data, "<f8", offset=end).reshape(len(names), -1)
    except (zstandard.ZstdError, ValueError) as error:
        raise Damaged("The channels of this run cannot be read; run `revledger verify`.") from error
    return dict(zip(names, columns, strict=True))
